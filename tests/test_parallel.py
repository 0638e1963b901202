"""Work on two threads: order, faults, and results that do not depend on it."""

import threading

import pytest

from binestimator import parallel
from binestimator.parallel import in_order


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
    assert parallel.threads_for(parallel.MOST_NUMBERS + 1) == 1
    monkeypatch.setattr(parallel, "cores", lambda: 4)
    assert parallel.threads_for(8760 * 50) == parallel.MOST_THREADS
    monkeypatch.setattr(parallel, "cores", lambda: 1)
    assert parallel.threads_for(8760 * 50) == 1
    monkeypatch.setattr(threading, "Thread", None)
    assert in_order(abs, [-1, -2], 1) == [1, 2]
