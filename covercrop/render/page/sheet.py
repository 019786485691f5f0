"""How large the type of a field's printed sheet can be, so that everything stays on one side of paper.

A page cannot measure itself without a script, so the room is reckoned here
from the letters, for the shorter of the two papers; a test prints pages in a
browser and counts their sheets.
"""

from __future__ import annotations

from collections.abc import Sequence

#: The sizes that the style sheet knows, the largest first: height of a line [mm], letters in a line of a column,
#: and height of the charts [mm].
SIZES = ((4.2, 62, 80.0), (3.45, 70, 80.0), (3.45, 70, 71.0), (2.9, 81, 62.0))

#: Letter paper within its margins, less a reserve [mm].
_ROOM = 257.4 - 2

_TITLE = 6.2  # of a list, with the space around it [mm]
_WIDE = 102  # letters in a line of the answer, across the sheet
_ANSWER, _SMALL = 5.4, 3.0  # height of a line of the answer, and of the footer [mm]
_FOOT = 180  # letters in a line of the footer


def type_size(
    name: str, said: Sequence[str], charts: bool, rows: int, lists: Sequence[Sequence[str]], foot: Sequence[str]
) -> int:
    """The first of :data:`SIZES` with which everything has room; their number where none has.

    Parameters
    ----------
    name : str
        Of the field.
    said : sequence of str
        The sentences at the top.
    charts : bool
        Whether there are any.
    rows : int
        Of the table of dates.
    lists : sequence of sequence of str
        What stands below it, in two columns with the table.
    foot : sequence of str
        The paragraphs at the foot.
    """
    head = 7 + 7 * min(_lines(name, 45), 2) + 7 * (len(name) > 38) + _ANSWER * sum(_lines(text, _WIDE) for text in said)
    below = 3 + _SMALL * sum(_lines(text, _FOOT) for text in foot)
    for size, (line, letters, picture) in enumerate(SIZES):
        table = _TITLE + (rows + 2) * (line + 0.5) if rows else 0.0
        words = sum(_TITLE + sum(line * _lines(item, letters) + 0.3 for item in items) for items in lists if items)
        column = max(table, (table + words) / 2 + line)
        if head + picture * charts + column + below <= _ROOM:
            return size
    return len(SIZES)


def _lines(text: str, letters: int) -> int:
    return -(-len(text) // letters)
