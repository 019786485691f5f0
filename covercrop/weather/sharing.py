"""What the fields of one run share: each record is brought once, and each trouble met once."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar

from covercrop.base.errors import WeatherError

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable

Brought = TypeVar("Brought")


class SharedWeather:
    """What was brought for the fields of one run, by all that it depends on, and what could not be brought.

    A server that hangs is waited for once, not once a field.
    """

    def __init__(self) -> None:
        self._brought: dict[Hashable, Any] = {}

    def once(self, asked: Hashable, bring: Callable[[], Brought]) -> Brought:
        """What was asked for, brought unless it was asked for before.

        Parameters
        ----------
        asked : hashable
            All that the answer depends on.
        bring : callable

        Raises
        ------
        WeatherError
            What ``bring`` raised, then or before.
        """
        if asked not in self._brought:
            try:
                self._brought[asked] = bring()
            except WeatherError as error:
                self._brought[asked] = error
        found: Brought | WeatherError = self._brought[asked]
        if isinstance(found, WeatherError):
            raise found
        return found
