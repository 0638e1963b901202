"""Work side by side: order, faults, and results that depend neither on threads nor on copies of the process."""

import subprocess
import sys
import textwrap
import threading

import pytest

from binestimator import parallel
from binestimator.parallel import in_order

# --- threads ---------------------------------------------------------------------------------


@pytest.mark.parametrize("threads", [1, 2, 3])
def test_results_are_in_the_order_of_the_items(threads):
    seen = set()

    def work(item):
        seen.add(threading.current_thread().name)
        return item * item

    assert in_order(work, range(200), threads) == [k * k for k in range(200)]
    assert threads != 1 or seen == {threading.current_thread().name}
    assert in_order(work, [], threads) == []


def test_two_threads_work_at_the_same_time():
    both = threading.Barrier(2, timeout=20)
    assert in_order(lambda _: both.wait() >= 0, range(2), 2) == [True, True]


@pytest.mark.parametrize("threads", [1, 2])
def test_the_first_fault_is_raised_and_no_thread_is_left(threads):
    before, done = threading.active_count(), []

    def work(item):
        done.append(item)
        if item >= 3:
            raise ValueError(f"item {item}")

    with pytest.raises(ValueError, match="item 3"):
        in_order(work, range(1000), threads)
    assert threading.active_count() == before
    assert len(done) < 10


def test_one_core_starts_no_thread_and_large_arrays_neither(monkeypatch):
    assert parallel.at_once(parallel.MOST_NUMBERS + 1) == 1
    monkeypatch.setattr(parallel, "cores", lambda: 8)
    assert parallel.at_once(8760 * 50) == parallel.MOST_THREADS
    monkeypatch.setattr(parallel, "_copies_allowed", True)
    assert parallel.at_once() == parallel.MOST_PROCESSES
    monkeypatch.setattr(parallel, "cores", lambda: 1)
    assert parallel.at_once(8760 * 50) == 1
    monkeypatch.setattr(threading, "Thread", None)
    assert in_order(abs, [-1, -2], 1) == [1, 2]


# --- copies of the process -------------------------------------------------------------------

copies_only = pytest.mark.skipif(
    not (hasattr(parallel.os, "fork") and hasattr(parallel.os, "memfd_create")), reason="this system makes no copies"
)


def alone(code: str) -> str:
    """What a program prints that may copy itself, on a machine of four cores."""
    begin = """
    import os, signal, sys, time
    from binestimator import parallel
    from binestimator.parallel import Beside, in_order, shared_numbers
    parallel.allow_copies()
    parallel.cores = lambda: 4
    me = os.getpid()
    """
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", textwrap.dedent(begin) + textwrap.dedent(code)],
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0 and not done.stderr, done.stderr
    return done.stdout.strip()


# No copy is left when a program says so: neither at work nor waiting to be asked for its end.
NONE_LEFT = """
try:
    os.waitpid(-1, os.WNOHANG)
    raise SystemExit("a copy is left")
except ChildProcessError:
    assert parallel._at_work == 0
    print("none left")
"""


@copies_only
def test_copies_take_items_in_turns_and_results_are_in_order():
    code = """
    def work(item):
        time.sleep(0.02)
        return item * item, os.getpid()

    found = in_order(work, range(40), 3)
    assert [square for square, _ in found] == [k * k for k in range(40)]
    by = {process for _, process in found}
    assert me in by and len(by) == 3, by
    # Too many items for the pipe that they are taken from: one after the other.
    assert {p for _, p in in_order(lambda k: (k, os.getpid()), range(5000), 3)} == {me}
    """
    assert alone(code + textwrap.indent(NONE_LEFT, "    ")) == "none left"


@copies_only
def test_a_copy_makes_no_copies_and_neither_does_a_process_with_threads():
    code = """
    import threading
    inner = lambda _: (time.sleep(0.1), [p for p in in_order(lambda k: os.getpid(), range(4), 4)])[1]
    for pids in in_order(inner, range(4), 4):
        assert len(set(pids)) == 1, pids
    waiting = threading.Event()
    other = threading.Thread(target=waiting.wait)
    other.start()
    assert set(in_order(lambda _: os.getpid(), range(8), 4)) == {me}
    with Beside(os.getpid) as beside:
        assert beside.answer() == me
    waiting.set()
    other.join()
    """
    assert alone(code + textwrap.indent(NONE_LEFT, "    ")) == "none left"


@copies_only
def test_the_first_fault_of_copies_is_raised_by_the_program_itself():
    code = """
    def work(item):
        time.sleep(0.01)
        if item >= 3:
            raise ValueError(f"item {item}")
        return item

    try:
        in_order(work, range(1000), 3)
    except ValueError as error:
        assert str(error) == "item 3", error
    else:
        raise SystemExit("no fault")
    with Beside(lambda: work(7)) as beside:
        try:
            beside.answer()
        except ValueError as error:
            assert str(error) == "item 7", error
        else:
            raise SystemExit("no fault")
    """
    assert alone(code + textwrap.indent(NONE_LEFT, "    ")) == "none left"


@copies_only
def test_what_a_copy_could_not_do_is_done_again():
    """A copy that is killed, as where memory is short; an answer that cannot be sent; a system with no room for one."""
    code = """
    def work(item):
        time.sleep(0.02)
        if os.getpid() != me:
            os.kill(os.getpid(), signal.SIGKILL)
        return item

    assert in_order(work, range(20), 3) == list(range(20))
    with Beside(lambda: work(5)) as beside:
        assert beside.answer() == 5
    assert [f() for f in in_order(lambda k: (time.sleep(0.02), lambda: k)[1], range(6), 2)] == list(range(6))

    def refuse(*_):
        raise BlockingIOError("no room")

    for name in ("fork", "memfd_create"):
        plain = getattr(os, name)
        setattr(os, name, refuse)
        assert {p for p in in_order(lambda _: os.getpid(), range(8), 3)} == {me}
        with Beside(os.getpid) as beside:
            assert beside.answer() == me
        setattr(os, name, plain)
    """
    assert alone(code + textwrap.indent(NONE_LEFT, "    ")) == "none left"


@copies_only
def test_an_interruption_ends_the_copies():
    code = """
    def work(item):
        if os.getpid() == me:
            raise KeyboardInterrupt
        time.sleep(30)

    start = time.monotonic()
    try:
        in_order(work, range(10), 3)
    except KeyboardInterrupt:
        pass
    try:
        with Beside(lambda: time.sleep(30)):
            raise KeyboardInterrupt
    except KeyboardInterrupt:
        pass
    signal.signal(signal.SIGALRM, lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
    signal.setitimer(signal.ITIMER_REAL, 0.3)
    try:
        with Beside(lambda: time.sleep(30)) as beside:
            beside.answer()
    except KeyboardInterrupt:
        pass
    assert time.monotonic() - start < 20.0
    """
    assert alone(code + textwrap.indent(NONE_LEFT, "    ")) == "none left"


@copies_only
def test_beside_works_meanwhile_and_numbers_are_shared():
    code = """
    told = shared_numbers(2)
    def work():
        told[1] = 3.0
        while told[0] == 0.0:
            time.sleep(0.005)
        return os.getpid()

    with Beside(work) as beside:
        while told[1] == 0.0:
            time.sleep(0.005)
        told[0] = 1.0
        assert beside.answer() != me
    with Beside(lambda: 1 / 0):
        pass  # nobody asked
    """
    assert alone(code + textwrap.indent(NONE_LEFT, "    ")) == "none left"


def test_copies_are_made_only_where_they_are_allowed():
    assert not parallel._copies_allowed
    with parallel.Beside(threading.get_ident) as beside:
        assert beside.answer() == threading.get_ident()
