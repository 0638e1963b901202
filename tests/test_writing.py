"""Writing: all files or none, and nothing of a person is written over."""

import errno
import os
import signal
import stat
import subprocess
import sys
import tempfile
from pathlib import Path

import earlier
import pytest

from binestimator.errors import WorkbookError
from binestimator.seal import BINS, FORM, RESULTS, mark_of
from binestimator.writing import HIDDEN_PREFIX, Manners, NewFile, moves, write_files

KEEP = Manners(keep=True)
LOCKED = PermissionError(errno.EPERM, "Operation not permitted")


def pair(folder, word="new"):
    return [
        NewFile(folder / "a.xlsx", earlier.workbook(word), RESULTS),
        NewFile(folder / "a.json", earlier.results_file(word), RESULTS),
    ]


NEW = {"a.xlsx": earlier.workbook("new"), "a.json": earlier.results_file("new")}


def refused(files, manners=KEEP):
    """Message of the refusal; the folder is as before."""
    folder = files[0].path.parent
    before = earlier.contents(folder)
    with pytest.raises(WorkbookError) as caught:
        write_files(files, manners)
    assert earlier.contents(folder) == before
    assert HIDDEN_PREFIX not in str(caught.value) and "\n" not in str(caught.value)
    return str(caught.value)


# ---------------------------------------------------------------- what is replaced, kept, refused


@pytest.mark.parametrize("manners", [Manners(), KEEP])
def test_files_as_the_program_wrote_them_are_replaced(tmp_path, manners):
    assert write_files(pair(tmp_path), manners) == {}
    assert earlier.contents(tmp_path) == NEW
    earlier.leave(tmp_path, "a")
    assert write_files(pair(tmp_path), manners) == {}
    assert earlier.contents(tmp_path) == NEW


CHANGES = {
    "a changed results file": lambda folder: (folder / "a.json").write_bytes(earlier.results_file() + b"\n"),
    "a workbook with a remark": lambda folder: (folder / "a.xlsx").write_bytes(earlier.workbook() + b"remark"),
    "files of an earlier version": lambda folder: earlier.leave(folder, "a", sealed=False),
}


@pytest.mark.parametrize("change", CHANGES)
def test_files_that_were_changed_are_kept_with_those_of_the_same_run(tmp_path, change):
    earlier.leave(tmp_path, "a")
    CHANGES[change](tmp_path)
    (tmp_path / "a_kept_1.json").write_text("somebody has a file of this name already")
    before = earlier.contents(tmp_path)
    kept = write_files(pair(tmp_path), KEEP)
    assert kept == {tmp_path / f"a.{ending}": tmp_path / f"a_kept_2.{ending}" for ending in ("xlsx", "json")}
    assert earlier.contents(tmp_path) == {
        **NEW,
        "a_kept_1.json": before["a_kept_1.json"],
        "a_kept_2.xlsx": before["a.xlsx"],
        "a_kept_2.json": before["a.json"],
    }
    # Once kept, the run is as it was written: nothing is kept again.
    assert write_files(pair(tmp_path, "newer"), KEEP) == {}
    CHANGES[change](tmp_path)
    assert write_files(pair(tmp_path), KEEP)[tmp_path / "a.xlsx"].name == "a_kept_3.xlsx"


@pytest.mark.parametrize("change", CHANGES)
def test_without_leave_to_keep_changed_files_are_refused(tmp_path, change):
    earlier.leave(tmp_path, "a")
    CHANGES[change](tmp_path)
    assert "not as this program wrote it" in refused(pair(tmp_path), Manners(elsewhere="ELSEWHERE", insist="INSIST"))
    assert write_files(pair(tmp_path), Manners(force=True)) == {}
    assert earlier.contents(tmp_path) == NEW


FOREIGN = {
    "a.json": (b'{"settings": "of another program"}', "is no results of this program"),
    "a.xlsx": (earlier.workbook(kind=FORM), "is a file of another kind (input form)"),
}


@pytest.mark.parametrize("name", FOREIGN)
def test_files_that_are_no_results_are_refused(tmp_path, name):
    earlier.leave(tmp_path, "a")
    (tmp_path / name).write_bytes(FOREIGN[name][0])
    said = refused(pair(tmp_path), Manners(keep=True, elsewhere="ELSEWHERE", insist="INSIST"))
    assert name in said and FOREIGN[name][1] in said and "ELSEWHERE" in said and "INSIST" in said
    write_files(pair(tmp_path), Manners(force=True))
    assert earlier.contents(tmp_path) == NEW


def test_a_table_that_is_there_already(tmp_path):
    file = NewFile(tmp_path / "t.csv", earlier.table("new"), BINS)
    file.path.write_bytes(earlier.table())
    write_files([file])
    assert file.path.read_bytes() == earlier.table("new")
    file.path.write_bytes(b"zone,area_ft2\nLobby,400\n")
    assert "no table of bins" in refused([file], Manners())


@pytest.mark.parametrize("how", ["same name", "symbolic link", "hard link", "link in the way", "dots"])
@pytest.mark.parametrize("force", [True, False])
def test_what_was_read_is_never_written_over(tmp_path, how, force):
    earlier.leave(tmp_path, "a")
    target = tmp_path / "a.json"
    other = tmp_path / "read.json"
    read = {"same name": target, "dots": tmp_path / ".." / tmp_path.name / "a.json"}.get(how, other)
    if how == "symbolic link":
        other.symlink_to(target)
    elif how == "hard link":
        os.link(target, other)
    elif how == "link in the way":
        target.rename(other)
        target.symlink_to(other)
    said = refused(pair(tmp_path), Manners(read=(read,), keep=True, force=force))
    assert "a.json" in said and "never overwritten" in said


@pytest.mark.parametrize("force", [True, False])
def test_what_is_no_file_is_refused(tmp_path, force):
    manners = Manners(keep=True, force=force)
    (tmp_path / "a.json").mkdir()
    assert "a.json: is a folder" in refused(pair(tmp_path), manners)
    (tmp_path / "a.json").rmdir()
    os.mkfifo(tmp_path / "a.json")
    assert "a device or a pipe" in refused(pair(tmp_path), manners)
    (tmp_path / "a.json").unlink()
    (tmp_path / "a.json").symlink_to("/dev/null")
    with pytest.raises(WorkbookError, match="a device or a pipe"):
        write_files(pair(tmp_path), manners)
    (tmp_path / "a.json").unlink()
    (tmp_path / "a.json").symlink_to("a.json")
    assert "circle" in refused(pair(tmp_path), manners)
    assert "folder .* does not exist" in refused_outside(pair(tmp_path / "none"), manners)
    (tmp_path / "file").write_text("x")
    assert "a.xlsx" in refused_outside(pair(tmp_path / "file"), manners)


def refused_outside(files, manners):
    with pytest.raises(WorkbookError) as caught:
        write_files(files, manners)
    return str(caught.value).replace(str(files[0].path.parent), ".*")


def test_a_write_protected_file_is_refused(tmp_path):
    earlier.leave(tmp_path, "a")
    (tmp_path / "a.json").chmod(0o444)
    assert "a.json: is write-protected" in refused(pair(tmp_path))
    write_files(pair(tmp_path), Manners(force=True))
    assert earlier.contents(tmp_path) == NEW and stat.S_IMODE((tmp_path / "a.json").stat().st_mode) == 0o444


# ---------------------------------------------------------------- permissions and links


def test_permissions_are_those_of_the_file_replaced_or_of_a_new_file(tmp_path):
    earlier.leave(tmp_path, "a")
    (tmp_path / "a.xlsx").chmod(0o640)
    (tmp_path / "a.json").unlink()
    write_files(pair(tmp_path))
    mask = os.umask(0)
    os.umask(mask)
    assert [stat.S_IMODE((tmp_path / f"a.{ending}").stat().st_mode) for ending in ("xlsx", "json")] == [
        0o640,
        0o666 & ~mask,
    ]


@pytest.mark.parametrize("allowed", [True, False])
def test_the_owner_is_kept_where_that_is_allowed(tmp_path, monkeypatch, allowed):
    """The owner is tried first; a group of one's own can be kept even if a file may not be given away."""
    earlier.leave(tmp_path, "a")
    given = []

    def chown(path, user, group):
        given.append((user, group))
        if user != -1 and not allowed:
            raise LOCKED

    real = os.fstat
    monkeypatch.setattr(os, "fstat", lambda handle: _of_somebody(real(handle)))
    monkeypatch.setattr(os, "chown", chown)
    write_files(pair(tmp_path))
    assert given == ([(4321, 8765)] if allowed else [(4321, 8765), (-1, 8765)]) * 2


def _refuse():
    raise LOCKED


def _of_somebody(found):
    return os.stat_result(
        (*found[:4], 4321, 8765, *found[6:]),
        {"st_mtime_ns": found.st_mtime_ns, "st_atime_ns": found.st_atime_ns, "st_ctime_ns": found.st_ctime_ns},
    )


@pytest.mark.parametrize("there", [True, False])
def test_a_symbolic_link_stays_and_the_file_it_leads_to_is_replaced(tmp_path, there):
    (tmp_path / "real").mkdir()
    (tmp_path / "real" / "b.xlsx").write_bytes(earlier.workbook())
    if not there:
        (tmp_path / "real" / "b.xlsx").unlink()
    (tmp_path / "a.xlsx").symlink_to(os.path.join("real", "b.xlsx"))
    write_files(pair(tmp_path), KEEP)
    assert (tmp_path / "a.xlsx").is_symlink() and earlier.contents(tmp_path / "real") == {"b.xlsx": NEW["a.xlsx"]}
    # What is kept stays beside the file itself.
    (tmp_path / "real" / "b.xlsx").write_bytes(earlier.workbook(sealed=False))
    kept = write_files(pair(tmp_path), KEEP)
    assert kept[tmp_path / "a.xlsx"] == tmp_path / "real" / "b_kept_1.xlsx" and kept[
        tmp_path / "a.xlsx"
    ].read_bytes() == earlier.workbook(sealed=False)


def test_other_names_of_the_same_file_keep_the_old_content(tmp_path):
    earlier.leave(tmp_path, "a")
    os.link(tmp_path / "a.xlsx", tmp_path / "archive.xlsx")
    write_files(pair(tmp_path))
    assert earlier.contents(tmp_path) == {**NEW, "archive.xlsx": earlier.workbook()}


# ---------------------------------------------------------------- all or none


def lock(monkeypatch, *names, error=LOCKED):
    """Nothing can be renamed to these names, neither on the way forth nor back."""
    real = os.replace

    def replace(source, target):
        if Path(target).name in names:
            raise error
        real(source, target)

    monkeypatch.setattr(os, "replace", replace)


STATES = {"sealed": {}, "earlier version": {"sealed": False}}


@pytest.mark.parametrize("links", [True, False])
@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("locked", ["a.xlsx", "a.json"])
def test_a_locked_file_leaves_both_as_they_were(tmp_path, monkeypatch, locked, state, links):
    earlier.leave(tmp_path, "a", **STATES[state])
    if not links:
        monkeypatch.setattr(os, "link", lambda *_: _refuse())
    lock(monkeypatch, locked)
    said = refused(pair(tmp_path), Manners(keep=True, elsewhere="ELSEWHERE"))
    assert locked in said and "close or unlock it, or ELSEWHERE" in said and "nothing was written" not in said


@pytest.mark.parametrize(
    "error", [LOCKED, KeyboardInterrupt(), OSError(errno.ENOSPC, "No space left on device"), ValueError("a fault")]
)
@pytest.mark.parametrize("old", ["none", "one", "both"])
@pytest.mark.parametrize("locked", ["a.xlsx", "a.json"])
def test_whatever_stops_a_move_leaves_both_as_they_were(tmp_path, monkeypatch, locked, old, error):
    if old != "none":
        earlier.leave(tmp_path, "a")
    if old == "one":
        (tmp_path / "a.json").unlink()
    before = earlier.contents(tmp_path)
    lock(monkeypatch, locked, error=error)
    with pytest.raises(WorkbookError if isinstance(error, OSError) else type(error)):
        write_files(pair(tmp_path), KEEP)
    assert earlier.contents(tmp_path) == before


@pytest.mark.parametrize("state", STATES)
def test_what_cannot_be_put_back_is_said_and_not_lost(tmp_path, monkeypatch, state):
    before = earlier.leave(tmp_path, "a", **STATES[state])
    real, calls = os.replace, []

    def replace(source, target):
        calls.append(target)
        if len(calls) > 1:
            raise LOCKED
        real(source, target)

    monkeypatch.setattr(os, "replace", replace)
    with pytest.raises(
        WorkbookError,
        match=r"a.json: cannot be written .*not all could be put back: .*a.xlsx is new, its earlier content is in "
        r".*a_kept_1.xlsx",
    ):
        write_files(pair(tmp_path), KEEP)
    assert earlier.contents(tmp_path) == {
        "a.xlsx": NEW["a.xlsx"],
        "a.json": before["a.json"],
        "a_kept_1.xlsx": before["a.xlsx"],
    }


@pytest.mark.parametrize("step", ["fsync", "chmod"])
@pytest.mark.parametrize(
    ("number", "remedy"),
    [
        (errno.ENOSPC, "free some space"),
        (errno.EROFS, "can only be read"),
        (errno.EFBIG, "limit on the size"),
        (errno.EIO, "check the drive"),
    ],
)
def test_a_disk_that_fails_while_files_are_made(tmp_path, monkeypatch, step, number, remedy):
    earlier.leave(tmp_path, "a")

    def fail(*_):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, step, fail)
    assert remedy in refused(pair(tmp_path))


@pytest.mark.parametrize("number", [errno.EACCES, errno.EROFS, errno.ENOSPC])
def test_a_folder_in_which_no_file_can_be_made(tmp_path, monkeypatch, number):
    earlier.leave(tmp_path, "a")

    def fail(**_):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(tempfile, "mkstemp", fail)
    said = refused(pair(tmp_path))
    assert os.strerror(number) in said and "a.xlsx" in said


def test_a_file_that_changes_in_the_last_moment(tmp_path, monkeypatch):
    earlier.leave(tmp_path, "a")
    second = moves.second_name

    def then_saved(target, name, found):
        second(target, name, found)
        if target.suffix == ".json":
            (tmp_path / "saved").write_bytes(b"a colleague's")
            os.rename(tmp_path / "saved", target)

    monkeypatch.setattr(moves, "second_name", then_saved)
    with pytest.raises(WorkbookError, match="a.json: was changed while"):
        write_files(pair(tmp_path))
    assert earlier.contents(tmp_path) == {"a.xlsx": earlier.workbook(), "a.json": b"a colleague's"}


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_a_request_to_stop_waits_until_the_files_are_in_place(tmp_path, monkeypatch, name):
    number = getattr(signal, name)
    real = os.replace

    def interrupt(*_):
        raise KeyboardInterrupt

    def replace(source, target):
        os.kill(os.getpid(), number)
        real(source, target)

    monkeypatch.setattr(os, "replace", replace)
    before = signal.signal(number, interrupt)
    try:
        with pytest.raises(KeyboardInterrupt):
            write_files(pair(tmp_path))
        assert signal.getsignal(number) is interrupt
    finally:
        signal.signal(number, before)
    assert earlier.contents(tmp_path) == NEW


WRITER = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
import earlier
from binestimator.seal import RESULTS
from binestimator.writing import NewFile, write_files
folder = Path(sys.argv[2])
for number in range(40):
    word = f"{sys.argv[3]} {number}"
    files = {"a.xlsx": earlier.workbook(word), "a.json": earlier.results_file(word)}
    write_files([NewFile(folder / name, content, RESULTS) for name, content in files.items()])
"""


def test_runs_that_write_into_one_folder_at_once_leave_files_of_one_run(tmp_path):
    commands = [
        [sys.executable, "-c", WRITER, str(Path(__file__).parent), str(tmp_path), str(number)] for number in range(3)
    ]
    processes = [subprocess.Popen(command, stderr=subprocess.PIPE, text=True) for command in commands]
    ended = [process.communicate(timeout=60)[1] for process in processes]
    assert ended == [""] * 3
    found = earlier.contents(tmp_path)
    words = [
        word for word in (f"{n} {k}" for n in range(3) for k in range(40)) if found["a.xlsx"] == earlier.workbook(word)
    ]
    assert len(words) == 1 and found == {"a.xlsx": earlier.workbook(words[0]), "a.json": earlier.results_file(words[0])}
    assert all(mark_of(content).whole for content in found.values())
