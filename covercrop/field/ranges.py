"""What is believed of what a grower writes down: the records are checked by it, and the field file is read by it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from covercrop.base import units
from covercrop.base.kinds import Number, in_units

#: The units in which a field file may have a quantity of a place, and the factor of each to the metric one.
ELEVATION = {"m": 1.0, "ft": units.M_PER_FT}
AREA = {"m2": 1.0, "ft2": units.M_PER_FT**2, "acres": units.M2_PER_ACRE, "ha": 1e4}

#: What is believed of a place, of a packet, and of what was seen or measured.
LATITUDE = Number(-90, 90, "give degrees north of the equator, -90 to 90")
LONGITUDE = Number(-180, 180, "give degrees east of Greenwich, -180 to 180")
_ABOVE = {"m": "metres above the sea, ", "ft": "feet above the sea, "}
_WIDE = {"m2": "square metres", "ft2": "square feet", "acres": "acres", "ha": "hectares"}
EXTENT = {
    "elevation_m": in_units("elevation", ELEVATION, -430, 6000, _ABOVE),
    "area_m2": in_units("area", AREA, 0.1, 1e8, {unit: f"the area in {words}, " for unit, words in _WIDE.items()}),
}
#: The soil that a grower may wait for [degC].
SOIL_WANTED = {
    "soil_c": Number(5, 35, "give the soil temperature to plant at, 5 to 35 degC"),
    "soil_f": Number(41, 95, "give the soil temperature to plant at, 41 to 95 degF", units.celsius_from_fahrenheit),
}
TO_MATURITY = Number(20, 250, "give the days on the seed packet, 20 to 250")
#: A share of a mixture, for messages.
MIXED = "the legume's share of the dry weight, 1 to 99 %; a legume alone needs neither this nor a cereal"


def _in_either(name: str, **kinds: Number) -> dict[str, Number]:
    """The keys of a measurement, the metric one first; each kind has the unit in words, which become its way out."""
    others = reversed(kinds.items())
    return {
        key: replace(
            kind,
            way_out=f"give the {name} in {kind.way_out}, {kind.low:,g} to {kind.high:,g}; in "
            f"{other.way_out.partition(' (')[0]} it is {other_key} (scout: --units {system})",
        )
        for (key, kind), (other_key, other), system in zip(kinds.items(), others, ("us", "metric"), strict=True)
    }


#: What a note may measure, by its keys in the file.
NOTED: dict[str, Any] = {
    "bloom_percent": Number(0, 100, "give 0 to 100"),
    "bbch": Number(0, 99, "give a BBCH stage, 0 to 99"),
    "soil_c": _in_either(
        "soil", soil_c=Number(-20, 45, "degC"), soil_f=Number(-4, 113, "degF", units.celsius_from_fahrenheit)
    ),
    "height_cm": _in_either(
        "height",
        height_cm=Number(1, 300, "cm"),
        height_in=Number(0.5, 120, "inches", lambda inches: inches * units.M_PER_IN * 100),
    ),
    "dry_matter_kg_ha": _in_either(
        "dry weight",
        dry_matter_kg_ha=Number(50, 20_000, "kg/ha (the dry grams of a square metre, times 10)"),
        dry_matter_lb_acre=Number(
            45,
            18_000,
            "lb/acre (the dry grams of a square foot, times 96)",
            lambda pounds: pounds * units.KG_HA_PER_LB_ACRE,
        ),
    ),
    "nitrogen_percent": Number(0.3, 8, "give % N of the dry weight, 0.3 to 8"),
    "cereal": Number(0, 99, "give a Zadoks stage, a whole number from 0 to 99", int),
    "legume_percent": Number(1, 99, f"give {MIXED}"),
}
_IN_WORDS = {
    "bloom_percent": "the share of the plants in flower [%]",
    "bbch": "a BBCH stage",
    "soil_c": "the soil temperature [degC]",
    "height_cm": "the height [cm]",
    "dry_matter_kg_ha": "the dry weight [kg/ha]",
    "nitrogen_percent": "% N of the dry weight",
    "cereal": "the stage of the cereal (Zadoks)",
    "legume_percent": "the legume's share of the dry weight [%]",
}


def _argument(name: str) -> Number:
    """A measurement as an argument of a record, in the metric unit."""
    kind: Number = NOTED[name][name] if isinstance(NOTED[name], dict) else NOTED[name]
    return replace(kind, way_out=f"give {_IN_WORDS[name]}, {kind.low:g} to {kind.high:,g}")


#: The same as arguments of a record.
MEASURED = {name: _argument(name) for name in NOTED}
