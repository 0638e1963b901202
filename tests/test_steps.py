"""The two files of a run: both new, or both as they were."""

import json
import os
import sys
import types

import pytest

from binestimator import steps
from binestimator.errors import WorkbookError

OLD, NEW = "of an earlier run", "of this run"


@pytest.fixture
def writers(monkeypatch):
    """Writers that leave a word in the file, in place of the slow real ones."""
    module = types.ModuleType("binestimator.workbook.write")
    module.write_workbook = lambda results, path: path.write_text(NEW)
    module.write_results_json = lambda results, path: path.write_text(json.dumps(NEW))
    monkeypatch.setitem(sys.modules, "binestimator.workbook.write", module)
    return module


def content_of(folder):
    return {path.name: path.read_text() for path in folder.iterdir()}


def with_old_files(folder):
    folder.mkdir(parents=True, exist_ok=True)
    for ending in ("xlsx", "json"):
        (folder / f"a.{ending}").write_text(OLD)
    return content_of(folder)


class Stop(BaseException):
    """Stands for an interruption, which is no Exception."""


def test_both_files_are_written_and_nothing_else(writers, tmp_path):
    book, data = steps.write_outputs(None, tmp_path / "deep" / "er", "a")
    assert content_of(tmp_path / "deep" / "er") == {"a.xlsx": NEW, "a.json": json.dumps(NEW)}
    assert (book.name, data.name) == ("a.xlsx", "a.json")


def test_files_of_an_earlier_run_are_replaced(writers, tmp_path):
    with_old_files(tmp_path)
    steps.write_outputs(None, tmp_path, "a")
    assert content_of(tmp_path) == {"a.xlsx": NEW, "a.json": json.dumps(NEW)}


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), ValueError("fault"), KeyboardInterrupt(), Stop()])
@pytest.mark.parametrize("writer", ["write_workbook", "write_results_json"])
def test_a_writer_that_fails_leaves_everything_as_it_was(writers, tmp_path, monkeypatch, writer, error):
    def fail(results, path):
        path.write_text("half a fi")
        raise error

    monkeypatch.setattr(writers, writer, fail)
    before = with_old_files(tmp_path)
    with pytest.raises(type(error)):
        steps.write_outputs(None, tmp_path, "a")
    assert content_of(tmp_path) == before


@pytest.mark.parametrize("error", [PermissionError(13, "Permission denied"), KeyboardInterrupt(), Stop()])
@pytest.mark.parametrize("old", [True, False])
@pytest.mark.parametrize("fails_at", [1, 2])
def test_a_move_that_fails_puts_the_other_file_back(writers, tmp_path, monkeypatch, error, old, fails_at):
    before = with_old_files(tmp_path) if old else content_of(tmp_path)
    calls, real = [], os.replace

    def replace(source, target):
        calls.append(target)
        if len(calls) == fails_at:
            raise error
        real(source, target)

    monkeypatch.setattr(steps.os, "replace", replace)
    with pytest.raises(WorkbookError if isinstance(error, OSError) else type(error)):
        steps.write_outputs(None, tmp_path, "a")
    assert content_of(tmp_path) == before


def test_a_folder_made_for_a_run_that_failed_goes_again(writers, tmp_path, monkeypatch):
    def fail(results, path):
        raise WorkbookError("no")

    monkeypatch.setattr(writers, "write_results_json", fail)
    with pytest.raises(WorkbookError, match="^no$"):
        steps.write_outputs(None, tmp_path / "deep" / "er", "a")
    assert list(tmp_path.iterdir()) == []


# The tests may run as a user who is allowed everything, so a file stands where a folder is wanted.
@pytest.mark.parametrize("out", ["a file", "a file/below", "a file/below/deeper"])
def test_an_output_folder_that_cannot_be_made(writers, tmp_path, out):
    (tmp_path / "a file").write_text(OLD)
    with pytest.raises(WorkbookError, match="a file is a file, not a folder.*--out"):
        steps.write_outputs(None, tmp_path / out, "a")
    assert content_of(tmp_path) == {"a file": OLD}


def test_an_output_folder_that_cannot_be_written(writers, tmp_path, monkeypatch):
    before = with_old_files(tmp_path)

    def refuse(**_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(steps.tempfile, "mkdtemp", refuse)
    with pytest.raises(WorkbookError, match=r"cannot be written \(Permission denied\).*--out"):
        steps.write_outputs(None, tmp_path, "a")
    assert content_of(tmp_path) == before


def test_a_folder_with_the_name_of_a_file(writers, tmp_path):
    (tmp_path / "a.json").mkdir()
    with pytest.raises(WorkbookError, match="a.json: is a folder"):
        steps.write_outputs(None, tmp_path, "a")
    assert [path.name for path in tmp_path.iterdir()] == ["a.json"]
