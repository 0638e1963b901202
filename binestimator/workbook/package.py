"""The zip folder that a workbook is: parts are compressed in a second thread while further ones are made.

Compression leaves the interpreter free for other work, so on two cores most of it costs no time. Each piece is
compressed by itself, wherever that happens: the bytes are the same however the work falls on threads.
"""

from __future__ import annotations

import struct
import threading
import zlib
from collections.abc import Sequence
from queue import Empty, SimpleQueue

from ..errors import WorkbookError

# Records of the format (PKWARE, APPNOTE 6.3, 4.3.7, 4.3.12, 4.3.16), as the standard library writes them.
_LOCAL, _CENTRAL, _END = struct.Struct("<4s2B4HL2L2H"), struct.Struct("<4s4B4HL2L5H2L"), struct.Struct("<4s4H2LH")
_DEFLATED, _VERSION, _UNIX = 8, 20, 3
# 1 January 1980, the first date of the format, at midnight: same content, same bytes.
_TIME, _DATE = 0, (1 << 5) | 1
_READABLE_BY_OWNER = 0o600 << 16
_LARGEST = 0xFFFFFFFF
# The next takes more than twice as long for three percent of the size, the one before saves a quarter for five.
COMPRESSION_LEVEL = 7
# Of the checksum of the format, lowest power of x in the highest bit.
_POLYNOMIAL = 0xEDB88320


class _Job:
    """Something to be compressed, by whichever thread comes to it."""

    def __init__(self) -> None:
        self._fault: BaseException | None = None
        self._done = threading.Event()

    def pack(self) -> None:
        """Compress; what goes wrong is raised where the result is waited for."""
        try:
            self._pack()
        except BaseException as fault:  # noqa: BLE001 - raised again in wait
            self._fault = fault
        self._done.set()

    def give_up(self) -> None:
        """Nobody will compress it: whoever waits is told."""
        self._fault = WorkbookError("workbook: not finished")
        self._done.set()

    def wait(self) -> None:
        """Until it is compressed; raises what went wrong."""
        self._done.wait()
        if self._fault is not None:
            raise self._fault

    def _pack(self) -> None:
        raise NotImplementedError


class Piece(_Job):
    """Text of a part that is compressed ahead of the rest of it: ``data``, ``check`` and ``size``, once it is waited
    for."""

    def __init__(self, text: Sequence[str]) -> None:
        super().__init__()
        self._text: Sequence[str] = text
        self.data, self.check, self.size = b"", 0, 0

    def _pack(self) -> None:
        text, self._text = self._text, ()
        self.data, self.check, self.size = _packed("".join(text), last=False)


class Part(_Job):
    """A part of the folder from text and pieces in their order; the same results, ``data`` as a list."""

    def __init__(self, name: str, content: Sequence[str | Piece]) -> None:
        super().__init__()
        self.name = name
        self._content: Sequence[str | Piece] = content
        self.data: list[bytes] = []
        self.check, self.size = 0, 0

    def _pack(self) -> None:
        content, self._content = self._content, ()
        text: list[str] = []
        for each in content:
            if isinstance(each, Piece):
                self._join(*_packed("".join(text), last=False))
                text = []
                # Given to the package before this part, so that a thread has begun it.
                each.wait()
                self._join(each.data, each.check, each.size)
            else:
                text.append(each)
        self._join(*_packed("".join(text), last=True))

    def _join(self, data: bytes, check: int, size: int) -> None:
        self.data.append(data)
        self.check = joined_check(self.check, check, size)
        self.size += size


class Package:
    """Parts of a zip folder, in the order in which they are added. A context manager: leaving it ends the thread."""

    def __init__(self) -> None:
        self._parts: list[Part] = []
        self._waiting: SimpleQueue[Part | Piece | None] = SimpleQueue()
        self._helper = threading.Thread(target=self._work, name="binestimator-package", daemon=True)

    def __enter__(self) -> Package:
        self._helper.start()
        return self

    def __exit__(self, *_) -> None:
        while (job := self._next()) is not None:
            job.give_up()  # of a workbook that failed
        self._waiting.put(None)
        self._helper.join()

    def piece(self, text: Sequence[str]) -> Piece:
        """Text of a part that is to be added later. It must not change any more."""
        made = Piece(text)
        self._waiting.put(made)
        return made

    def add(self, name: str, content: Sequence[str | Piece]) -> None:
        """A part from text and pieces, which must not change any more."""
        self._parts.append(Part(name, content))
        self._waiting.put(self._parts[-1])

    def content(self) -> bytes:
        """All parts as one file.

        Raises
        ------
        WorkbookError
            A part, or all together, is larger than the format allows.
        """
        while (job := self._next()) is not None:
            job.pack()
        pieces, directory, at = [], [], 0
        for part in self._parts:
            part.wait()
            name, size = part.name.encode("ascii"), sum(map(len, part.data))
            if max(part.size, at + size) > _LARGEST:
                raise WorkbookError(f"workbook: {part.name} is too large for the format; make the project smaller")
            common = (_DEFLATED, _TIME, _DATE, part.check, size, part.size, len(name), 0)
            head = _LOCAL.pack(b"PK\x03\x04", _VERSION, 0, 0, *common)
            pieces += [head, name, *part.data]
            head = _CENTRAL.pack(
                b"PK\x01\x02", _VERSION, _UNIX, _VERSION, 0, 0, *common, 0, 0, 0, _READABLE_BY_OWNER, at
            )
            directory += [head, name]
            at += _LOCAL.size + len(name) + size
        listed = b"".join(directory)
        count = len(self._parts)
        return b"".join([*pieces, listed, _END.pack(b"PK\x05\x06", 0, 0, count, count, len(listed), at, 0)])

    def _next(self) -> Part | Piece | None:
        try:
            return self._waiting.get_nowait()
        except Empty:
            return None

    def _work(self) -> None:
        while (job := self._waiting.get()) is not None:
            job.pack()


def _packed(text: str, *, last: bool) -> tuple[bytes, int, int]:
    """Text compressed so that others can follow, or as the last of a part; its checksum and length."""
    data = text.encode("utf-8")
    press = zlib.compressobj(COMPRESSION_LEVEL, zlib.DEFLATED, -15)
    return press.compress(data) + press.flush(zlib.Z_FINISH if last else zlib.Z_FULL_FLUSH), zlib.crc32(data), len(data)


def joined_check(first: int, second: int, size: int) -> int:
    """Checksum (CRC-32) of data whose two parts have these checksums, the second of ``size`` bytes.

    Notes
    -----
    The first is shifted by as many bits as follow: times x^(8 size) modulo the polynomial of the checksum, by repeated
    squaring.
    """
    power, square = 1 << 31, 1 << 23  # x^0 and x^8
    while size:
        if size & 1:
            power = _product(power, square)
        square = _product(square, square)
        size >>= 1
    return _product(power, first) ^ second


def _product(a: int, b: int) -> int:
    """Product of two polynomials over GF(2) modulo that of the checksum."""
    out = 0
    for bit in range(31, -1, -1):
        if a >> bit & 1:
            out ^= b
        b = b >> 1 ^ (_POLYNOMIAL if b & 1 else 0)
    return out
