"""Whether a NetCDF file of the classic kind reaches as far as its header says.

The library of such files reads zeros where one was cut short, and a zero is a
temperature.  (Files of the newer kind know their length, and their library
refuses them.)  The header is laid out as the NetCDF Classic Format
Specification has it: everything big-endian, names and values filled up to four
bytes; the second and fifth version of the format have wider numbers.
"""

from __future__ import annotations

from math import prod
from typing import TYPE_CHECKING, BinaryIO

if TYPE_CHECKING:
    from pathlib import Path

#: Bytes of a value by the number of its type: byte, char, short, int, float, double, and the unsigned and long ones.
_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 4, 6: 8, 7: 1, 8: 2, 9: 4, 10: 8, 11: 8}

#: Bytes of a count and of an offset by the version of the format.
_WIDTHS = {1: (4, 4), 2: (4, 8), 5: (8, 8)}


def is_whole(path: Path) -> bool:
    """Whether a file has all the values that its header promises; one of another format has.

    Parameters
    ----------
    path : pathlib.Path

    Raises
    ------
    OSError
        If it cannot be read.
    """
    with path.open("rb") as file:
        head = file.read(4)
        if head[:3] != b"CDF" or head[3:4] not in (b"\x01", b"\x02", b"\x05"):
            return True
        size = path.stat().st_size
        try:
            return _end(_Header(file, size, *_WIDTHS[head[3]])) <= size
        except (EOFError, KeyError, IndexError):  # the header itself is cut short, or none
            return False


class _Header:
    """What is read in the order in which it stands."""

    def __init__(self, file: BinaryIO, size: int, count: int, offset: int) -> None:
        self.file, self.size = file, size
        self.widths = {"count": count, "offset": offset, "tag": 4}

    def number(self, kind: str = "count") -> int:
        return int.from_bytes(self._read(self.widths[kind]), "big")

    def skip(self, size: int) -> None:
        """Pass over bytes, and those that fill them up."""
        self._read(_filled(size))

    def _read(self, size: int) -> bytes:
        if size > self.size - self.file.tell():
            raise EOFError
        return self.file.read(size)

    def attributes(self) -> None:
        """Pass over a list of attributes."""
        self.number("tag")
        for _ in range(self.number()):
            self.skip(self.number())
            kind = self.number("tag")
            self.skip(self.number() * _BYTES[kind])


def _end(header: _Header) -> int:
    """Where the last value of a file ends."""
    records = header.number()
    if records == 256 ** header.widths["count"] - 1:  # not known: as many as there are
        records = 0
    header.number("tag")
    lengths = []
    for _ in range(header.number()):
        header.skip(header.number())
        lengths.append(header.number())
    header.attributes()
    header.number("tag")
    fixed, growing = [0], []
    for _ in range(header.number()):
        header.skip(header.number())
        shape = [lengths[header.number()] for _ in range(header.number())]
        header.attributes()
        kind = header.number("tag")
        header.number()  # the size, which is wrong for large variables
        begin, grows = header.number("offset"), shape[:1] == [0]
        size = prod(shape[1:] if grows else shape) * _BYTES[kind]
        if grows:
            growing.append((begin, size))
        else:
            fixed.append(begin + size)
    # One alone is not filled up between its records.
    step = growing[0][1] if len(growing) == 1 else sum(_filled(size) for _, size in growing)
    return max(fixed + [begin + (records - 1) * step + size for begin, size in growing if records])


def _filled(size: int) -> int:
    return -(-size // 4) * 4
