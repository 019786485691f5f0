"""Tables as CSV for a spreadsheet: what people have written stays text there."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from covercrop.base.errors import visible

#: What makes a spreadsheet run the text that follows, also in the wide forms of East Asian keyboards; and the
#: characters that it drops before it looks.  Common practice, no source.
_RUN = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_DROPPED = ("\t", "\r", "\n")


def inert(text: str) -> str:
    r"""A text as a cell that a spreadsheet shows and does not run.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        With an apostrophe before it where it would be run.  What a terminal
        would obey is written out, as ``\x1b``.
    """
    shown = visible(text)
    return f"'{shown}" if text.startswith(_DROPPED) or shown.lstrip().startswith(_RUN) else shown


def csv_table(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table as CSV, without a final newline.

    Parameters
    ----------
    columns : sequence of str
    rows : iterable of sequence
        Texts are made :func:`inert`, numbers are left as they are; None is an
        empty cell.
    """
    written = io.StringIO()
    writer = csv.writer(written, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([inert(cell) if isinstance(cell, str) else cell for cell in row] for row in rows)
    return written.getvalue().rstrip("\n")
