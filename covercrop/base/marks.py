"""What a command wrote itself, known again by a mark in it.

A page or a picture is replaced without asking only by the command that wrote
it, so that nobody's own file is lost to a slip of the fingers.
"""

from __future__ import annotations

import struct
import zlib

_PNG = b"\x89PNG\r\n\x1a\n"
_PNG_HEAD = len(_PNG) + 25  # and the chunk IHDR, which has to come first


def marked(content: bytes, by: str) -> bytes:
    """A page or picture with the mark of a command.

    Parameters
    ----------
    content : bytes
        HTML, SVG or PNG as this package writes them.
    by : str
        The command, such as ``covercrop report``.
    """
    place, mark = _mark(content, by)
    return content[:place] + mark + content[place:]


def is_marked(content: bytes, by: str) -> bool:
    """Whether the content of a file is what a command wrote with its mark; True of nothing else, whatever it is."""
    place, mark = _mark(content, by)
    return bool(mark) and content.startswith(mark, place)


def _mark(content: bytes, by: str) -> tuple[int, bytes]:
    """Where the mark stands and how it is written; no mark for any other kind of file."""
    if content.startswith(_PNG):
        text = b"tEXt" + b"Software\0" + by.encode("latin-1")
        return _PNG_HEAD, struct.pack(">I", len(text) - 4) + text + struct.pack(">I", zlib.crc32(text))
    for begin, before, mark in (
        (b"<!doctype html>", b'<meta charset="utf-8">\n', f'<meta name="generator" content="{by}">\n'),
        (b"<?xml ", b"?>\n", f"<!-- {by} -->\n"),
    ):
        if content.startswith(begin) and before in content:
            return content.index(before) + len(before), mark.encode()
    return 0, b""
