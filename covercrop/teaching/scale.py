"""Celsius or Fahrenheit for all pictures of a notebook, by one switch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from covercrop.base.units import fahrenheit_from_celsius


@dataclass(frozen=True, slots=True)
class Scale:
    """How a class reads its thermometer; the library itself stays in degrees Celsius.

    Parameters
    ----------
    fahrenheit : bool
        Whether it is in degrees Fahrenheit.
    """

    fahrenheit: bool = False

    @property
    def sign(self) -> str:
        """What stands behind a temperature."""
        return "°F" if self.fahrenheit else "°C"

    def reading(self, celsius: Any) -> Any:
        """Temperatures [degC], as the thermometer shows them; of any shape."""
        return fahrenheit_from_celsius(celsius) if self.fahrenheit else celsius

    def steps(self, kelvin: Any) -> Any:
        """Differences of temperatures [K] or degree-days [degC d], on the same scale; of any shape."""
        return kelvin * 1.8 if self.fahrenheit else kelvin
