"""Seals: files of the program carry a checksum of themselves.

With it a later run knows whether a file is still, byte for byte, what the program wrote: then it can
be made again and may be replaced. Anything else may hold somebody's work.

- A workbook has one more part, ``docProps/binestimator.xml``, which names the kind of file and the checksum
  of all bytes before it. Parts that nothing points to are ignored by readers and need not be kept by
  whoever saves the workbook again (ECMA-376 part 1, 9.1.9, from memory), so that a saved workbook is no
  longer sealed even if nothing was changed.
- A text (results file, table of bins, hand-over) holds ``sha256:`` and the digits of the checksum it has
  with zeros in their place.

A seal shows changes made by accident or in good faith. It is not a signature: anyone can make one.
"""

from __future__ import annotations

import hashlib
import io
import re
import zipfile

from .dataclass import dataclass

#: Kinds of files.
FORM, RESULTS, CLIENT, BINS, HANDOVER = "input form", "results", "client edition", "table of bins", "hand-over"
#: Project file that a quick check writes.
QUICK = "quick project"
#: Those that come from trend logs.
TREND_MAP, FRAGMENT, MERGED, TRENDS = "map of trend points", "project fragment", "merged project", "trend results"
REALISED, PLAN = "realised saving", "measurement plan"

_DIGITS = 16  # of the checksum: 64 bits, enough where nobody is trying to deceive
#: Placeholder in a text where its checksum belongs.
UNSEALED = "sha256:" + "0" * _DIGITS
_SEALED = re.compile(rb"sha256:[0-9a-f]{%d}" % _DIGITS)

_PART = "docProps/binestimator.xml"
_PART_TEXT = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n<seal kind="{kind}" before="sha256:{digits}"/>\n'
_PART_FORM = re.compile(
    re.escape(_PART_TEXT).replace(r"\{kind\}", r"([a-z ]+)").replace(r"\{digits\}", rf"([0-9a-f]{{{_DIGITS}}})")
)
_CORE = "docProps/core.xml"
_LONGEST_PART = 100_000
# Record with which the directory of a zip folder ends.
_END_START, _END_LENGTH = b"PK\x05\x06", 22
# First date of the format: same content, same bytes.
_DATE = (1980, 1, 1, 0, 0, 0)
#: How files begin that are ours, sealed or not.
_TEXTS = (
    (re.compile(rb'\s*\{\s*"program"\s*:\s*"binestimator"'), RESULTS),
    (re.compile(rb"bin_low_f,"), BINS),
    (re.compile(rb"binestimator hand-over\n"), HANDOVER),
    (re.compile(rb"# binestimator quick project\n"), QUICK),
    (re.compile(rb'\s*\{\s*"trends"\s*:\s*"binestimator"'), TRENDS),
    (re.compile(rb'\s*\{\s*"realised"\s*:\s*"binestimator"'), REALISED),
    (re.compile(rb'\s*\{\s*"measurement_plan"\s*:\s*"binestimator"'), PLAN),
    *((re.compile(rb"# binestimator " + kind.encode() + rb" sha256:"), kind) for kind in (TREND_MAP, FRAGMENT, MERGED)),
)
#: Comments in the properties of a workbook.
COMMENTS = {
    FORM: "binestimator, input form",
    RESULTS: "binestimator, run ",
    CLIENT: "binestimator, client edition of run ",
}


@dataclass(frozen=True, slots=True)
class Mark:
    """What a file is, and whether it is as it was written.

    Parameters
    ----------
    kind : str or None
        One of the kinds above; ``None`` for files that are not the program's.
    whole : bool
        The seal is there and right: byte for byte as written.
    """

    kind: str | None
    whole: bool


def _digits(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:_DIGITS]


def seal_text(text: str) -> bytes:
    """Text in UTF-8 with its checksum in place of the last ``UNSEALED``.

    Raises
    ------
    ValueError
        There is no place for it.
    """
    data = text.encode("utf-8")
    at = data.rindex(UNSEALED.encode())
    return data[:at] + f"sha256:{_digits(data)}".encode() + data[at + len(UNSEALED) :]


def seal_workbook(data: bytes, kind: str) -> bytes:
    """Workbook with a last part that seals all before it."""
    buffer = io.BytesIO(data)
    with zipfile.ZipFile(buffer, "a") as archive:
        digits = _digits_of_parts(data[: archive.start_dir], archive.infolist())
        part = zipfile.ZipInfo(_PART, _DATE)
        part.external_attr = 0o600 << 16
        archive.writestr(part, _PART_TEXT.format(kind=kind, digits=digits), compress_type=zipfile.ZIP_STORED)
    return buffer.getvalue()


def _digits_of_parts(before: bytes, parts: list[zipfile.ZipInfo]) -> str:
    """Checksum of the bytes of parts and of what the directory says about them."""
    said = [
        (
            part.filename,
            part.header_offset,
            part.compress_size,
            part.file_size,
            part.CRC,
            part.compress_type,
            part.flag_bits,
            part.date_time,
            part.external_attr,
            part.extra,
            part.comment,
        )
        for part in parts
    ]
    return _digits(before + repr(said).encode())


def mark_of(data: bytes) -> Mark:
    """What a file with this content is. Any content is allowed."""
    if data.startswith(b"PK\x03\x04"):
        return _mark_of_workbook(data)
    for start, kind in _TEXTS:
        if start.match(data):
            places = [match.start() for match in _SEALED.finditer(data)]
            if not places:
                return Mark(kind, False)
            at = places[-1]
            blank = data[:at] + UNSEALED.encode() + data[at + len(UNSEALED) :]
            return Mark(kind, data[at + len("sha256:") : at + len(UNSEALED)].decode() == _digits(blank))
    return Mark(None, False)


def _mark_of_workbook(data: bytes) -> Mark:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            *parts, last = archive.infolist()
            if last.filename == _PART and last.file_size < _LONGEST_PART:
                match = _PART_FORM.fullmatch(archive.read(last).decode("utf-8"))
                if match is not None and match[1] in COMMENTS:
                    before = data[: last.header_offset]
                    # A file that ends with its directory, without a comment after it.
                    ends = not archive.comment and data[-_END_LENGTH:].startswith(_END_START)
                    return Mark(match[1], ends and match[2] == _digits_of_parts(before, parts))
            core = archive.getinfo(_CORE)
            if core.file_size < _LONGEST_PART:
                text = archive.read(core).decode("utf-8")
                for kind, comments in COMMENTS.items():
                    if f">{comments}" in text:
                        return Mark(kind, False)
    except Exception:  # noqa: BLE001 - the file may be anything; what cannot be read is not ours
        pass
    return Mark(None, False)
