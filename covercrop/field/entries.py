"""What a grower writes down about a field, as records."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from pathlib import Path

from covercrop.base.errors import FieldFileError
from covercrop.base.records import Units
from covercrop.field.bed_entries import AmendmentEntry, BedsEntry, SoilEntry
from covercrop.models.bbch import bbch_of_percent
from covercrop.parameters import catalogue
from covercrop.parameters.own_bloom import Calibration, calibrated
from covercrop.parameters.traits import Cover

UNITS = ("metric", "us")

#: BBCH code that stands for a stand without buds: the last one before they show (51).
NO_BUDS = 50
#: The same for a stand without flowers.
NO_FLOWERS = 59


#: What a field has whose file says nothing of them.
_NO_BEDS, _NO_SOIL = BedsEntry(), SoilEntry()


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverEntry:
    """What was sown, and what has been done with it; ``calibration`` holds own numbers for its bloom."""

    species: str
    sown: dt.date
    cultivar: str = ""
    turned_under: dt.date | None = None
    terminate: str = "turn-under"
    calibration: Calibration | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherEntry:
    """Where the field's weather comes from; neither means the nearest stations."""

    file: Path | None = None
    station: str = ""
    units: Units = "metric"


@dataclass(frozen=True, slots=True, kw_only=True)
class CropEntry:
    """The heavy feeder that follows."""

    name: str
    method: str = "direct-seed"
    ground_cover: str = "bare"
    days_to_maturity: float | None = None
    planted: dt.date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoutingNote:
    """What was seen on one visit.

    Attributes
    ----------
    date : datetime.date
    bloom_percent, bbch
        The stage, as the share in bloom [%] or as a BBCH code; at most one.
    note : str
    soil_c : float or None
        Reading of a soil thermometer at planting depth [degC].
    height_cm : float or None
        Height of the stand [cm].
    dry_matter_kg_ha, nitrogen_percent : float or None
        Dry weight [kg/ha] and its nitrogen [% N] of a clip sample.
    """

    date: dt.date
    bloom_percent: float | None = None
    bbch: int | None = None
    note: str = ""
    soil_c: float | None = None
    height_cm: float | None = None
    dry_matter_kg_ha: float | None = None
    nitrogen_percent: float | None = None

    @property
    def has_stage(self) -> bool:
        """Whether the stage of the stand was seen."""
        return self.bloom_percent is not None or self.bbch is not None

    @property
    def stage(self) -> float:
        """BBCH code of what was seen; no flowers are the stage before the first; NaN where no stage was seen."""
        if self.bloom_percent is None:
            return float("nan") if self.bbch is None else float(self.bbch)
        return bbch_of_percent(self.bloom_percent) if self.bloom_percent else float(NO_FLOWERS)

    @property
    def of_the_stand(self) -> bool:
        """Whether anything was seen or measured that a standing cover is needed for."""
        return self.has_stage or any(
            value is not None for value in (self.height_cm, self.dry_matter_kg_ha, self.nitrogen_percent)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field: its place, its cover, its weather, its crop, its notes."""

    name: str
    latitude: float
    longitude: float
    cover: CoverEntry
    crop: CropEntry
    weather: WeatherEntry = WeatherEntry()
    elevation_m: float | None = None
    area_m2: float | None = None
    scouting: tuple[ScoutingNote, ...] = ()
    beds: BedsEntry = _NO_BEDS
    amendments: tuple[AmendmentEntry, ...] = ()
    soil: SoilEntry = _NO_SOIL


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldFile:
    """A field file as read: ``today`` only where the file fixes it itself."""

    path: Path
    fields: tuple[Field, ...]
    today: dt.date | None = None


def cover_of(entry: CoverEntry) -> Cover:
    """The cover of an entry, with its own numbers where it has some."""
    cover = catalogue.cover(entry.species)
    return cover if entry.calibration is None else calibrated(cover, entry.calibration)


def as_of(field: Field, on: dt.date) -> Field:
    """A field as it was known on an earlier day.

    What was done or seen after ``on`` is left out.

    Raises
    ------
    FieldFileError
        If the cover was not yet sown on ``on``.
    """
    cover, crop = field.cover, field.crop
    if cover.sown > on:
        raise FieldFileError(f"sown = {cover.sown} is after {on}, the day asked about; ask about a later day with `on`")
    if cover.turned_under is not None and cover.turned_under > on:
        cover = replace(cover, turned_under=None)
    if crop.planted is not None and crop.planted > on:
        crop = replace(crop, planted=None)
    scouting = tuple(note for note in field.scouting if note.date <= on)
    return replace(field, cover=cover, crop=crop, scouting=scouting)


def check_past(field: Field, today: dt.date) -> None:
    """Refuse what cannot have happened yet.

    Raises
    ------
    FieldFileError
        If the cover is sown, turned under, planted or scouted after ``today``.
    """
    events = [
        ("sown", field.cover.sown),
        ("turned_under", field.cover.turned_under),
        ("planted", field.crop.planted),
        *(("scouting date", note.date) for note in field.scouting),
    ]
    for key, day in events:
        if day is not None and day > today:
            raise FieldFileError(f"{key} = {day} is after {today}, today; mend the date")
