"""Whether a file is a list of weather stations that can be used.

A server answers with nothing, a sign-in page or half a file, and SQLite takes
an empty file for an empty database: what arrives, and what is kept, is looked
into before a question is put to it.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from functools import lru_cache
from pathlib import Path

#: What is asked of the list, and has an answer in any that can be used.
_ASKED = (
    "SELECT id, country, region, latitude, longitude, elevation, timezone FROM stations LIMIT 1",
    "SELECT station FROM names WHERE language = 'en' AND name IS NOT NULL LIMIT 1",
    "SELECT station, provider, parameter, start, \"end\", completeness FROM inventory WHERE parameter = 'tmin' LIMIT 1",
    "SELECT station FROM inventory WHERE parameter = 'tmax' LIMIT 1",
)
#: Text that every look-up reads, and has to be text.
_READ = (
    "SELECT id, country, region, timezone FROM stations",
    "SELECT station, name FROM names WHERE language = 'en'",
)
#: Stations whose place or height is no number, or no such place is on Earth; one of them stops every look-up.
_NOWHERE = (
    "SELECT count(*) FROM stations WHERE typeof(latitude) NOT IN ('real', 'integer') "
    "OR typeof(longitude) NOT IN ('real', 'integer') OR typeof(elevation) NOT IN ('real', 'integer', 'null') "
    "OR abs(latitude) > 90 OR abs(longitude) > 360 OR abs(elevation) > 10000"
)


@lru_cache(maxsize=16)
def fault(path: Path, made: int, size: int) -> str:
    """What is wrong with a list of stations, in words; empty where it can be used.

    Parameters
    ----------
    path : Path
    made, size : int
        Time stamp [ns] and length of the file, which tell one that was replaced since.
    """
    del made
    if path.is_dir():
        return "it is a folder"
    if not size:
        return "it is empty"
    try:
        if size < _announced(path):
            return "it is cut off"
        with closing(_opened(path)) as base:
            return _lacking(base)
    except (sqlite3.Error, OSError, UnicodeError) as error:
        return str(error)


def _announced(path: Path) -> int:
    """How long an SQLite file says it is [byte], 0 for others: SQLite fills up a last page that is cut off.

    References
    ----------
    The database header, in "Database File Format", https://www.sqlite.org/fileformat.html
    """
    with path.open("rb") as file:
        head = file.read(100)
    if len(head) < 100 or not head.startswith(b"SQLite format 3\0") or head[24:28] != head[92:96]:
        return 0
    page, pages = int.from_bytes(head[16:18], "big"), int.from_bytes(head[28:32], "big")
    return (65536 if page == 1 else page) * pages


def _lacking(base: sqlite3.Connection) -> str:
    """What a list lacks, in words."""
    if (said := base.execute("PRAGMA quick_check").fetchone()[0]) != "ok":
        return f"it is damaged: {str(said).splitlines()[-1]}"
    for asked in _ASKED:
        if base.execute(asked).fetchone() is None:
            return f"its table {asked.split(' FROM ')[1].split()[0]} lacks what is asked of it"
    for read in _READ:
        base.execute(read).fetchall()
    nowhere = base.execute(_NOWHERE).fetchone()[0]
    return f"{nowhere} of its stations have no place" if nowhere else ""


def stations_in(path: Path) -> int:
    """How many stations a list has; 0 for one that cannot be used."""
    try:
        with closing(_opened(path)) as base:
            return int(base.execute("SELECT count(*) FROM stations").fetchone()[0])
    except sqlite3.Error:
        return 0


def _opened(path: Path) -> sqlite3.Connection:
    """Opened to be read: a file that is not there stays so."""
    return sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)
