"""Seals: a file that was changed is told from one that is as it was written."""

import io
import json
import zipfile

import earlier
import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from binestimator.inputs.cells import WorkbookFile
from binestimator.inputs.form import read_form
from binestimator.seal import BINS, FORM, RESULTS, UNSEALED, Mark, mark_of, seal_text
from binestimator.workbook.form import form_bytes

SEALED = {
    "workbook": (earlier.workbook(), RESULTS),
    "form": (earlier.workbook(kind=FORM), FORM),
    "results": (earlier.results_file(), RESULTS),
    "table": (earlier.table(), BINS),
}


@pytest.mark.parametrize("name", SEALED)
def test_as_written(name):
    data, kind = SEALED[name]
    assert mark_of(data) == Mark(kind, True)


@pytest.mark.invariant
@pytest.mark.parametrize("name", SEALED)
@given(place=st.integers(0, 10_000), bit=st.integers(0, 7))
def test_any_changed_bit_before_the_end_is_seen(name, place, bit):
    """In workbooks all bytes before the seal, which hold everything that a reader is shown."""
    data, _ = SEALED[name]
    end = zipfile.ZipFile(io.BytesIO(data)).infolist()[-1].header_offset if data.startswith(b"PK") else len(data)
    changed = bytearray(data)
    changed[place % end] ^= 1 << bit
    assert not mark_of(bytes(changed)).whole


@pytest.mark.parametrize("name", SEALED)
@pytest.mark.parametrize("more", [b"\n", b" ", b"PK\x05\x06" + bytes(18)])
def test_something_added_is_seen(name, more):
    assert not mark_of(SEALED[name][0] + more).whole


def test_parts_added_to_a_workbook_or_taken_out_are_seen():
    data = earlier.workbook()
    buffer = io.BytesIO(data)
    with zipfile.ZipFile(buffer, "a") as archive:
        archive.writestr("xl/comments1.xml", "a question")
    assert mark_of(buffer.getvalue()) == Mark(RESULTS, False)
    buffer = io.BytesIO(data)
    with zipfile.ZipFile(buffer, "a") as archive:
        archive.comment = b"looked at by a colleague"
    assert mark_of(buffer.getvalue()) == Mark(RESULTS, False)
    assert mark_of(earlier.workbook(sealed=False)) == Mark(RESULTS, False)


def test_a_form_saved_by_another_program_is_no_longer_as_written(tmp_path):
    book = openpyxl.load_workbook(io.BytesIO(form_bytes()))
    buffer = io.BytesIO()
    book.save(buffer)
    assert mark_of(form_bytes()) == Mark(FORM, True)
    assert mark_of(buffer.getvalue()) == Mark(FORM, False)


def test_files_of_earlier_versions_are_known_but_not_sealed():
    assert mark_of(earlier.results_file(sealed=False)) == Mark(RESULTS, False)
    assert mark_of(json.dumps({"program": "binestimator", "run_id": "1"}).encode()) == Mark(RESULTS, False)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"{}",
        b'{"program": "another"}',
        b"PK\x03\x04",
        b"PK\x03\x04" + bytes(100),
        b"a,b\n1,2\n",
        UNSEALED.encode(),
    ],
)
def test_other_files_are_not_ours(data):
    assert mark_of(data) == Mark(None, False)


@given(
    start=st.sampled_from([b"", b"PK\x03\x04", b'{"program": "binestimator"', b"bin_low_f,", earlier.workbook()[:-30]]),
    rest=st.binary(max_size=200),
)
def test_any_content_is_judged(start, rest):
    assert not mark_of(start + rest).whole


def test_a_text_of_a_user_cannot_stand_for_the_checksum():
    """What looks like one in a name is left alone: the last one counts."""
    text = json.dumps({"program": "binestimator", "name": UNSEALED, "checksum": UNSEALED})
    data = seal_text(text)
    assert mark_of(data).whole and json.loads(data)["name"] == UNSEALED != json.loads(data)["checksum"]
    with pytest.raises(ValueError, match="not found"):
        seal_text("no place")


def test_sealing_is_repeatable_and_readers_do_not_mind(tmp_path):
    assert form_bytes() == form_bytes()
    path = tmp_path / "f.xlsx"
    path.write_bytes(form_bytes())
    with WorkbookFile(path) as file:
        assert "Inputs" in file.sheet_names
    assert openpyxl.load_workbook(path).properties.description == "binestimator, input form"
    assert zipfile.ZipFile(path).testzip() is None
    with pytest.raises(ValueError, match="name"):  # an empty form is read, and lacks what a project needs
        read_form(path)
