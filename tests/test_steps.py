"""The files of a run: all new, or all as they were."""

import errno
import os
import types
from dataclasses import dataclass

import earlier
import pytest

from binestimator import steps
from binestimator.errors import WorkbookError
from binestimator.workbook import write
from binestimator.writing import Manners

NEW = {
    "a.xlsx": earlier.workbook("new"),
    "a.json": earlier.results_file("new"),
    "a_handover.txt": earlier.handover("new"),
}
CLIENT = {**NEW, "a_client.xlsx": earlier.workbook("client")}


@dataclass
class Unranged:
    """In place of results, of which these tests write nothing."""

    ranges: None = None


UNRANGED = Unranged()


@pytest.fixture
def writers(monkeypatch):
    """Makers of the contents that are quick, in place of the slow real ones."""
    monkeypatch.setattr(write, "workbook_bytes", lambda *_, **__: NEW["a.xlsx"])
    monkeypatch.setattr(write, "results_bytes", lambda *_, **__: NEW["a.json"])
    monkeypatch.setattr(write, "handover_bytes", lambda *_, **__: NEW["a_handover.txt"])
    monkeypatch.setattr(write, "client_bytes", lambda *_, **__: CLIENT["a_client.xlsx"])


class Stop(BaseException):
    """In place of an interruption, which is no Exception."""


def test_its_files_are_written_and_nothing_else(writers, tmp_path):
    written = steps.write_outputs(UNRANGED, tmp_path / "deep" / "er", "a")
    assert earlier.contents(tmp_path / "deep" / "er") == NEW
    assert (written.workbook.name, written.results_file.name, written.kept) == ("a.xlsx", "a.json", {})
    assert written.handover == tmp_path / "deep" / "er" / "a_handover.txt"


def test_files_of_an_earlier_run_are_replaced_and_changed_ones_kept(writers, tmp_path):
    before = earlier.leave_run(tmp_path, "a")
    assert steps.write_outputs(UNRANGED, tmp_path, "a").kept == {}
    assert earlier.contents(tmp_path) == NEW
    before = earlier.leave_run(tmp_path, "a", sealed=False)
    written = steps.write_outputs(UNRANGED, tmp_path, "a")
    assert {path.name: kept.name for path, kept in written.kept.items()} == {
        "a.xlsx": "a_kept_1.xlsx",
        "a.json": "a_kept_1.json",
        "a_handover.txt": "a_handover_kept_1.txt",
    }
    assert earlier.contents(tmp_path) == {
        **NEW,
        "a_kept_1.xlsx": before["a.xlsx"],
        "a_kept_1.json": before["a.json"],
        "a_handover_kept_1.txt": before["a_handover.txt"],
    }


def test_the_client_edition_is_written_with_the_others_or_not_at_all(writers, tmp_path, monkeypatch):
    written = steps.write_outputs(UNRANGED, tmp_path, "a", client=True)
    assert earlier.contents(tmp_path) == CLIENT and written.client == tmp_path / "a_client.xlsx"
    # A workbook of another kind under that name may be anybody's: it is kept, and the others with it.
    (tmp_path / "a_client.xlsx").write_bytes(b"a letter")
    with pytest.raises(WorkbookError, match="a_client.xlsx"):
        steps.check_outputs(tmp_path, "a", client=True)
    before = earlier.contents(tmp_path)
    with pytest.raises(WorkbookError, match="a_client.xlsx"):
        steps.write_outputs(UNRANGED, tmp_path, "a", client=True)
    assert earlier.contents(tmp_path) == before
    # It stands in nobody's way who does not ask for it.
    assert steps.write_outputs(UNRANGED, tmp_path, "a").client is None
    (tmp_path / "b_client.xlsx").write_bytes(b"zones")
    assert steps.free_stem(tmp_path / "b.toml", tmp_path, (tmp_path / "b_client.xlsx",), client=True) == "b_rerun"


@pytest.mark.parametrize("error", [ValueError("fault"), KeyboardInterrupt(), Stop()])
@pytest.mark.parametrize("writer", ["workbook_bytes", "results_bytes", "handover_bytes"])
def test_a_writer_that_fails_leaves_everything_as_it_was(writers, tmp_path, monkeypatch, writer, error):
    def fail(*_, **__):
        raise error

    monkeypatch.setattr(write, writer, fail)
    before = earlier.leave_run(tmp_path, "a")
    with pytest.raises(type(error)):
        steps.write_outputs(UNRANGED, tmp_path, "a")
    assert earlier.contents(tmp_path) == before
    with pytest.raises(type(error)):
        steps.write_outputs(UNRANGED, tmp_path / "deep" / "er", "a")
    assert not (tmp_path / "deep").exists()


def test_a_folder_made_for_a_run_that_failed_goes_again(writers, tmp_path, monkeypatch):
    def fail(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(WorkbookError, match="a.xlsx: cannot be written .*free some space.*"):
        steps.write_outputs(UNRANGED, tmp_path / "deep" / "er", "a")
    assert list(tmp_path.iterdir()) == []


# The tests may run as a user who is allowed everything, so a file is put where a folder is expected.
@pytest.mark.parametrize("out", ["a file", "a file/below", "a file/below/deeper"])
@pytest.mark.parametrize("step", ["check_outputs", "write_outputs"])
def test_an_output_folder_that_cannot_be_made(writers, tmp_path, out, step):
    (tmp_path / "a file").write_text("text")
    with pytest.raises(WorkbookError, match="a file is a file, not a folder.*ELSEWHERE"):
        _take(step, tmp_path / out, Manners(elsewhere="ELSEWHERE"))
    assert earlier.contents(tmp_path) == {"a file": b"text"}


def _take(step, folder, manners=Manners()):
    if step == "check_outputs":
        steps.check_outputs(folder, "a", manners)
    else:
        steps.write_outputs(UNRANGED, folder, "a", manners=manners)


@pytest.mark.parametrize("step", ["check_outputs", "write_outputs"])
def test_a_link_that_leads_nowhere_is_no_output_folder(writers, tmp_path, step):
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    for name in ("link", "loop", "link/below"):
        with pytest.raises(WorkbookError, match="is a link that leads to no folder"):
            _take(step, tmp_path / name)
    assert sorted(os.listdir(tmp_path)) == ["link", "loop"]


def test_a_folder_that_may_not_be_written_is_refused_before_the_work(tmp_path, monkeypatch):
    monkeypatch.setattr(steps.os, "access", lambda path, mode: False)
    for folder in (tmp_path, tmp_path / "deep" / "er"):
        with pytest.raises(WorkbookError, match=f"nothing can be written in the folder {tmp_path};"):
            steps.check_outputs(folder, "a")


@pytest.mark.parametrize("step", ["check_outputs", "write_outputs"])
def test_a_folder_with_the_name_of_a_file(writers, tmp_path, step):
    (tmp_path / "a.json").mkdir()
    with pytest.raises(WorkbookError, match="a.json: is a folder"):
        _take(step, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["a.json"]


@pytest.mark.parametrize("step", ["check_outputs", "write_outputs"])
def test_what_is_no_file_of_a_run_is_refused_before_the_work_and_after(writers, tmp_path, step):
    earlier.leave_run(tmp_path, "a")
    (tmp_path / "a.json").write_text('{"of": "somebody"}')
    before = earlier.contents(tmp_path)
    with pytest.raises(WorkbookError, match="a.json: already exists"):
        _take(step, tmp_path)
    assert earlier.contents(tmp_path) == before


# ---------------------------------------------------------------- names


def test_the_name_of_the_files_avoids_what_was_read(tmp_path):
    (tmp_path / "a.toml").write_text("")
    assert steps.free_stem(tmp_path / "a.toml", tmp_path) == "a"
    earlier.leave_run(tmp_path, "a")
    assert steps.free_stem(tmp_path / "a.xlsx", tmp_path) == "a_rerun"
    assert steps.free_stem(tmp_path / "a.xlsx", tmp_path / "elsewhere") == "a"
    # By whatever name it was read: zones and weather count as well as the project.
    os.link(tmp_path / "a.json", tmp_path / "zones.csv")
    assert steps.free_stem(tmp_path / "a.toml", tmp_path, (tmp_path / "zones.csv",)) == "a_rerun"
    (tmp_path / "a_rerun.xlsx").symlink_to("weather.csv")
    (tmp_path / "weather.csv").write_text("")
    assert steps.free_stem(tmp_path / "a.xlsx", tmp_path, (tmp_path / "weather.csv",)) == "a_rerun_rerun"


def test_files_that_a_run_reads(tmp_path):
    for name in ("w.csv", "z.csv"):
        (tmp_path / name).write_text("")

    def project(*years, **info):
        of = types.SimpleNamespace
        weather_years = tuple(of(name=name, file=name) for name in years)
        return of(
            weather=of(file="w.csv"), source_dir=str(tmp_path), info=of(**info), terms=of(weather_years=weather_years)
        )

    path = tmp_path / "a.toml"
    assert steps.files_read(path, project(zones_csv=None)) == (path, tmp_path / "w.csv")
    assert steps.files_read(path, project(zones_csv="z.csv"), weather=False) == (path, tmp_path / "z.csv")
    (tmp_path / "y.csv").write_text("")
    assert steps.files_read(path, project("y.csv", "gone.csv", zones_csv=None))[1:] == (
        tmp_path / "w.csv", tmp_path / "y.csv"
    )  # fmt: skip
