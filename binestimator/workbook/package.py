"""The zip folder that a workbook is: parts are compressed in a second thread while further ones are made.

Compression leaves the interpreter free for other work, so on two cores most of it costs no time. Each part is
compressed by itself: the bytes are the same however the work falls on threads.
"""

from __future__ import annotations

import struct
import threading
import zlib
from collections.abc import Iterable
from queue import Empty, SimpleQueue

from ..errors import WorkbookError

# Records of the format (PKWARE, APPNOTE 6.3, 4.3.7, 4.3.12, 4.3.16), as the standard library writes them.
_LOCAL, _CENTRAL, _END = struct.Struct("<4s2B4HL2L2H"), struct.Struct("<4s4B4HL2L5H2L"), struct.Struct("<4s4H2LH")
_DEFLATED, _VERSION, _UNIX = 8, 20, 3
# 1 January 1980, the first date of the format, at midnight: same content, same bytes.
_TIME, _DATE = 0, (1 << 5) | 1
_READABLE_BY_OWNER = 0o600 << 16
_LARGEST = 0xFFFFFFFF
# Higher ones take half as long again and more, for one or two percent of the size.
COMPRESSION_LEVEL = 6


class Package:
    """Parts of a zip folder, in the order in which they are added. A context manager: leaving it ends the thread."""

    def __init__(self) -> None:
        self._names: list[str] = []
        self._packed: dict[str, tuple[bytes, int, int]] = {}
        self._waiting: SimpleQueue[tuple[str, Iterable[str]] | None] = SimpleQueue()
        self._fault: BaseException | None = None
        self._helper = threading.Thread(target=self._work, name="binestimator-package", daemon=True)

    def __enter__(self) -> Package:
        self._helper.start()
        return self

    def __exit__(self, *_) -> None:
        self._waiting.put(None)
        self._helper.join()

    def add(self, name: str, text: Iterable[str]) -> None:
        """A part from pieces of text, which must not change any more."""
        self._names.append(name)
        self._waiting.put((name, text))

    def content(self) -> bytes:
        """All parts as one file.

        Raises
        ------
        WorkbookError
            A part, or all together, is larger than the format allows.
        """
        while True:
            try:
                job = self._waiting.get_nowait()
            except Empty:
                break
            assert job is not None, "the thread ends after this"
            self._pack(*job)
        self._waiting.put(None)
        self._helper.join()
        if self._fault is not None:
            raise self._fault
        pieces, directory, at = [], [], 0
        for name in self._names:
            packed, check, size = self._packed.pop(name)
            coded = name.encode("ascii")
            if max(size, at) > _LARGEST:
                raise WorkbookError(f"workbook: {name} is too large for the file format; make the project smaller")
            common = (_DEFLATED, _TIME, _DATE, check, len(packed), size, len(coded), 0)
            pieces += [_LOCAL.pack(b"PK\x03\x04", _VERSION, 0, 0, *common), coded, packed]
            directory += [
                _CENTRAL.pack(b"PK\x01\x02", _VERSION, _UNIX, _VERSION, 0, 0, *common, 0, 0, 0, _READABLE_BY_OWNER, at),
                coded,
            ]
            at += _LOCAL.size + len(coded) + len(packed)
        listed = b"".join(directory)
        count = len(self._names)
        return b"".join([*pieces, listed, _END.pack(b"PK\x05\x06", 0, 0, count, count, len(listed), at, 0)])

    def _work(self) -> None:
        while (job := self._waiting.get()) is not None:
            try:
                self._pack(*job)
            except BaseException as fault:  # noqa: BLE001 - raised again where it is waited for
                self._fault = fault

    def _pack(self, name: str, text: Iterable[str]) -> None:
        data = "".join(text).encode("utf-8")
        press = zlib.compressobj(COMPRESSION_LEVEL, zlib.DEFLATED, -15)
        self._packed[name] = press.compress(data) + press.flush(), zlib.crc32(data), len(data)
