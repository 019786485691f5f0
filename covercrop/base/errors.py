"""Everything that covercrop raises on purpose.

::

    CovercropError
    +-- ParameterError          a shipped or own parameter file is wrong (ValueError)
    |   +-- UnknownNameError    no such cover, cultivar, crop or method; near matches
    +-- FieldFileError          the field file is wrong (ValueError)
    +-- RecordsError            a file of bloom records cannot be used (ValueError)
    +-- WeatherError
    |   +-- WeatherFileError    a weather file cannot be used as it is
    |   +-- WeatherGapError     a gap too long to fill
    |   +-- StationError        no such station, or none near enough
    |   +-- OfflineError        nothing cached and no network
    |       +-- UnusableError   nothing cached, and nothing that the server sent can be used
    +-- RegionError             a grid, a table of stations or a run over them cannot go on
    +-- UsageError              an option or argument cannot be used (ValueError)
    +-- OutputError             standard output cannot be written

Each message is one plain line: the place, the value found, the way out.
That a stage is not reached is a result, not an error.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping

#: What a terminal would obey instead of showing: control characters, ends of
#: lines, and the marks that turn the direction of writing.
_COMMANDS = re.compile("[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")

#: Longest line shown whole; no message of the program's own comes near it.
LONGEST_LINE = 600


def visible(text: str) -> str:
    r"""Text that a terminal shows as it stands: what it would obey is written out, as ``\x1b``."""
    return _COMMANDS.sub(lambda found: found[0].encode("unicode_escape").decode(), text)


def one_line(message: object) -> str:
    """A message in one line, whatever names and values it repeats; one too long loses its middle."""
    line = visible(" ".join(str(message).split()))
    half = (LONGEST_LINE - 5) // 2
    return line if len(line) <= LONGEST_LINE else f"{line[:half]} ... {line[-half:]}"


def shown(value: object) -> str:
    """A value as messages repeat it."""
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


class CovercropError(Exception):
    """Base of all errors that a user can mend."""


class ParameterError(CovercropError, ValueError):
    """A parameter file holds something it should not."""


class UnknownNameError(ParameterError):
    """A name that no parameter file knows.

    Parameters
    ----------
    kind : str
        What was asked for, such as ``"cover"``.
    name : str
        The name that was given.
    known : iterable of str
        The names that would have been understood.
    also : mapping of str to str
        Other names that would have been, each with the one that it stands for.
    """

    def __init__(self, kind: str, name: str, known: Iterable[str], also: Mapping[str, str] | None = None) -> None:
        from difflib import get_close_matches

        self.kind = kind
        self.name = name
        self.known = tuple(known)
        lowered = {known_name.lower(): known_name for known_name in self.known}
        near = [lowered[match] for match in get_close_matches(name.lower(), lowered, n=3, cutoff=0.5)]
        others = {other.lower(): f"{other} ({stands})" for other, stands in (also or {}).items() if stands not in near}
        near += [others[match] for match in get_close_matches(name.lower(), others, n=3, cutoff=0.5)]
        near = near[:3]
        way_out = f"did you mean {' or '.join(near)}?" if near else f"known: {', '.join(self.known)}"
        super().__init__(f"unknown {kind} {name!r}; {way_out}")


class FieldFileError(CovercropError, ValueError):
    """A field file cannot be read as it is."""


class RecordsError(CovercropError, ValueError):
    """A file of bloom records cannot be used as it is."""


class WeatherError(CovercropError):
    """Weather that is missing or cannot be trusted."""


class WeatherFileError(WeatherError, ValueError):
    """A weather file cannot be used as it is."""


class WeatherGapError(WeatherError):
    """Days are missing that may not be filled.

    Parameters
    ----------
    message : str
        The line shown to the user.
    gaps : iterable of tuple
        First and last day of each gap, as ISO dates.
    """

    def __init__(self, message: str, gaps: Iterable[tuple[str, str]] = ()) -> None:
        self.gaps = tuple(gaps)
        super().__init__(message)


class StationError(WeatherError):
    """No such station, or none that is near and complete enough."""


class OfflineError(WeatherError):
    """No network, and nothing kept from an earlier visit."""


class UnusableError(OfflineError):
    """The server answers, but with nothing that can be used, and nothing is kept from an earlier visit."""


class RegionError(CovercropError):
    """A grid or a table of stations cannot be used, or a run over it cannot go on."""


class UsageError(CovercropError, ValueError):
    """An option or argument that cannot be used."""


class OutputError(CovercropError):
    """Standard output is full or closed, or cannot hold what is to be printed."""
