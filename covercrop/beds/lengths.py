"""Lengths, areas, volumes and weights as a grower says them, metric or US."""

from __future__ import annotations

from dataclasses import dataclass

from covercrop.base import units


@dataclass(frozen=True, slots=True)
class Measures:
    """Numbers with their unit, rounded to what can be measured out.

    Every method takes SI (metres, kilograms) and gives text.
    """

    us: bool = False

    def length(self, metres: float) -> str:
        """Of a field, a row or a strip."""
        value, unit = (metres / units.M_PER_FT, "ft") if self.us else (metres, "m")
        return f"{_short(value)} {unit}"

    def depth(self, metres: float) -> str:
        """Of a layer, or across a hole."""
        value, unit = (metres / units.M_PER_IN, "in") if self.us else (metres * 100, "cm")
        whole = round(value)
        # Four inches are ten centimetres to anyone with a rake.
        return f"{whole if whole and abs(value / whole - 1) < 0.02 else _short(value)} {unit}"

    def area(self, square_metres: float) -> str:
        """Of a field or a bed."""
        value, unit = (square_metres / units.M_PER_FT**2, "ft²") if self.us else (square_metres, "m²")
        return f"{_short(value)} {unit}"

    def volume(self, cubic_metres: float) -> str:
        """Of a heap: cubic metres or yards, of a small one litres or cubic feet."""
        value, unit = self.heap(cubic_metres)
        return f"{_short(value)} {unit}"

    def heap(self, cubic_metres: float) -> tuple[float, str]:
        """A volume as a number and its unit."""
        if self.us:
            yards = cubic_metres / units.M3_PER_YD3
            return (yards, "yd³") if yards >= 1 else (yards * 27, "ft³")
        return (cubic_metres, "m³") if cubic_metres >= 1 else (cubic_metres * 1000, "L")

    def weight(self, kilograms: float) -> str:
        """Of seed, or of the nitrogen on a field; grams or ounces of little."""
        value, unit = self.weighed(kilograms)
        if 0 < value < 1:
            value, unit = (16 * value, "oz") if self.us else (float(f"{1000 * value:.2g}"), "g")
        return f"{_short(value)} {unit}"

    def weighed(self, kilograms: float) -> tuple[float, str]:
        """A weight as a number and its unit."""
        return (kilograms / units.KG_PER_LB, "lb") if self.us else (kilograms, "kg")

    def tonnes(self, tonnes: float) -> str:
        """Of a heap; short tons in US units."""
        value, unit = (tonnes * 1000 / units.KG_PER_LB / 2000, "tons") if self.us else (tonnes, "t")
        return f"{_short(value)} {unit}"

    def rate(self, kg_ha: float) -> str:
        """Kilograms on a hectare, whole; pounds on an acre in US units."""
        return f"{self.rate_number(kg_ha):,.0f} {self.rate_unit}"

    def about(self, kg_ha: float) -> str:
        """A rate in two figures."""
        number = self.rate_number(kg_ha)
        return f"{float(f'{number:.2g}'):,.0f} {self.rate_unit}"

    def garden_rate(self, kg_ha: float) -> str:
        """A rate of seed on a bed: grams on a square metre, or ounces on a hundred square feet."""
        if not self.us:
            return f"{_short(kg_ha / 10)} g/m²"
        ounces = 16 * kg_ha / units.M2_PER_HA * 100 * units.M_PER_FT**2 / units.KG_PER_LB
        return f"{_short(ounces)} oz to 100 ft²"

    def rate_number(self, kg_ha: float) -> float:
        """The number of a rate."""
        return kg_ha / units.KG_HA_PER_LB_ACRE if self.us else kg_ha

    @property
    def rate_unit(self) -> str:
        """The unit of a rate."""
        return "lb/acre" if self.us else "kg/ha"

    def rates(self, low: float, high: float, step: int = 5) -> str:
        """Two rates as a range, rounded to steps."""
        ends = [round(self.rate_number(end) / step) * step for end in (low, high)]
        return f"{ends[0]:,} to {ends[1]:,} {self.rate_unit}" if ends[0] != ends[1] else f"{ends[0]:,} {self.rate_unit}"


def _short(value: float) -> str:
    """A number with no more than three figures that matter, and no empty decimals."""
    if abs(value) >= 100:
        return f"{value:,.0f}"
    return f"{value:.{1 if abs(value) >= 1 else 2}f}".rstrip("0").rstrip(".")
