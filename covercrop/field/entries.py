"""What a grower writes down about a field, as records."""

from __future__ import annotations

import datetime as dt
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated

from covercrop.base.days import WEEKDAYS, weekday_named
from covercrop.base.errors import FieldFileError, ParameterError, UnknownNameError, UsageError
from covercrop.base.kinds import Choice, Listed, Text, as_given
from covercrop.base.records import Units
from covercrop.field.bed_entries import AmendmentEntry, BedsEntry, SoilEntry
from covercrop.field.checks import check_choice, check_date, check_kind, check_number, wrong
from covercrop.field.ranges import EXTENT, LATITUDE, LONGITUDE, MEASURED, NOTED, SOIL_WANTED, TO_MATURITY
from covercrop.models import seedling_disease, soil_temperature, termination
from covercrop.models.bbch import bbch_of_percent
from covercrop.parameters import catalogue
from covercrop.parameters.companions import companion
from covercrop.parameters.own_bloom import Calibration, calibrated
from covercrop.parameters.traits import Cover

UNITS = ("metric", "us")

#: What is said of a field that has no cover yet, where one is needed.
NO_COVER = "has no cover yet; covercrop sow says which to sow, and when: enter it once it is sown"

#: How a cover is ended where nothing else is said.
TURN_UNDER = "turn-under"

#: BBCH code that stands for a stand without buds: the last one before they show (51).
NO_BUDS = 50
#: The same for a stand without flowers.
NO_FLOWERS = 59

#: What is measured of a legume that stands.
_OF_THE_LEGUME = ("height_cm", "dry_matter_kg_ha", "nitrogen_percent", "legume_percent")

_NAME = Text("give the field a name")

#: What a field has whose file says nothing of them.
_NO_BEDS, _NO_SOIL = BedsEntry(), SoilEntry()


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverEntry:
    """What was sown, and what has been done with it.

    Attributes
    ----------
    species : str
        The legume.
    sown : datetime.date
    cultivar : str
    turned_under : datetime.date or None
    terminate : str
    calibration : Calibration or None
        Own numbers for its bloom.
    companion : str or None
        The cereal that was sown beside it, ``with`` in the field file.
    legume_percent : (float, float) or None
        The legume's share of the dry matter [%], from and to; one number is taken for both.
    """

    species: Annotated[str, Text('name the cover, such as "crimson-clover" (see: covercrop covers)')]
    sown: dt.date
    cultivar: Annotated[str, Text("name the cultivar, or leave the line out")] = ""
    turned_under: Annotated[dt.date | None, {"ended": None, "turned_under": None}] = None
    terminate: Annotated[str, Choice(termination.METHODS)] = TURN_UNDER
    calibration: Annotated[
        Calibration | None, "name the file that covercrop calibrate wrote, relative to the field file"
    ] = None
    companion: Annotated[
        str | None, {"with": Text('name the cereal beside the legume, such as "rye", or leave the line out')}
    ] = None
    legume_percent: Annotated[tuple[float, float] | None, as_given] = None

    def __post_init__(self) -> None:
        check_kind("species", self.species, str)
        cover = legume(self.species)
        object.__setattr__(self, "species", cover.key)
        check_kind("cultivar", self.cultivar, str)
        if self.cultivar and self.calibration is None:
            object.__setattr__(self, "cultivar", catalogue.cultivar(cover, self.cultivar).name)
        if self.sown is None:
            raise wrong("sown", None, "give the day on which the cover was sown")
        check_date("sown", self.sown)
        check_date("turned_under", self.turned_under)
        if self.turned_under is not None and self.turned_under <= self.sown:
            raise wrong("turned_under", self.turned_under, f"is not after sowing on {self.sown}")
        check_choice("terminate", self.terminate, termination.METHODS)
        if self.companion is not None:
            check_kind("companion", self.companion, str)
            object.__setattr__(self, "companion", companion(self.companion).key)
        if self.legume_percent is not None:
            object.__setattr__(self, "legume_percent", check_share(self.legume_percent, self.companion))


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherEntry:
    """Where the field's weather comes from; neither means the nearest stations."""

    file: Annotated[Path | None, "name the weather file, relative to the field file"] = None
    station: Annotated[str, Text("give the station's id as text")] = ""
    units: Annotated[Units, Choice(UNITS)] = "metric"

    def __post_init__(self) -> None:
        if self.file is not None:
            check_kind("file", self.file, Path)
        check_kind("station", self.station, str)
        check_choice("units", self.units, UNITS)


@dataclass(frozen=True, slots=True, kw_only=True)
class CropEntry:
    """The heavy feeder that follows; ``days_to_maturity`` [d] as on its packet, ``soil_c`` [degC] an own threshold."""

    name: Annotated[str, Text('name the crop that follows, such as "pumpkin" (see: covercrop crops)')]
    method: Annotated[str, Choice(seedling_disease.METHODS)] = "direct-seed"
    ground_cover: Annotated[str, Choice(soil_temperature.GROUND_COVERS)] = "bare"
    days_to_maturity: Annotated[float | None, TO_MATURITY] = None
    soil_c: Annotated[float | None, SOIL_WANTED] = None
    planted: dt.date | None = None

    def __post_init__(self) -> None:
        check_kind("name", self.name, str)
        object.__setattr__(self, "name", catalogue.crop(self.name).key)
        check_choice("method", self.method, seedling_disease.METHODS)
        check_choice("ground_cover", self.ground_cover, soil_temperature.GROUND_COVERS)
        check_number("days_to_maturity", self.days_to_maturity, TO_MATURITY)
        check_number("soil_c", self.soil_c, SOIL_WANTED["soil_c"])
        check_date("planted", self.planted)


FAVOURS = ("crop", "cover")


@dataclass(frozen=True, slots=True, kw_only=True)
class AimEntry:
    """What the grower is after.

    Attributes
    ----------
    plant_by : datetime.date or None
        The day by which the crop is to be planted.
    favour : str
        What comes first where bloom and crop cannot both be had: ``crop`` or ``cover``.
    can_come : tuple of str
        The weekdays on which the cover can be ended (:data:`covercrop.base.days.WEEKDAYS`); none means any.
    """

    plant_by: dt.date | None = None
    favour: Annotated[str, Choice(FAVOURS)] = "crop"
    can_come: Annotated[tuple[str, ...], Listed('list weekdays, such as ["sat", "sun"]')] = ()

    def __post_init__(self) -> None:
        check_date("plant_by", self.plant_by)
        check_choice("favour", self.favour, FAVOURS)
        object.__setattr__(self, "can_come", tuple(weekday_named(day, "can_come") for day in self.can_come))

    @property
    def weekdays(self) -> tuple[int, ...]:
        """Numbers of the weekdays on which the cover can be ended, Monday being 0."""
        return tuple(WEEKDAYS.index(day) for day in self.can_come or WEEKDAYS)


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
    cereal : int or None
        Stage of the cereal beside the legume, as a Zadoks code, which is its BBCH code too.
    legume_percent : float or None
        The legume's share of the dry weight [%], judged by eye or clipped and sorted.
    """

    date: dt.date
    bloom_percent: Annotated[float | None, NOTED["bloom_percent"]] = None
    bbch: Annotated[int | None, NOTED["bbch"]] = None
    note: Annotated[str, Text("write some words, or leave the line out")] = ""
    soil_c: Annotated[float | None, NOTED["soil_c"]] = None
    height_cm: Annotated[float | None, NOTED["height_cm"]] = None
    dry_matter_kg_ha: Annotated[float | None, NOTED["dry_matter_kg_ha"]] = None
    nitrogen_percent: Annotated[float | None, NOTED["nitrogen_percent"]] = None
    cereal: Annotated[int | None, NOTED["cereal"]] = None
    legume_percent: Annotated[float | None, NOTED["legume_percent"]] = None

    def __post_init__(self) -> None:
        if self.date is None:
            raise wrong("date", None, "give the day of the visit")
        check_date("date", self.date)
        for name, kind in MEASURED.items():
            check_number(name, getattr(self, name), kind)
        for name, such_as in (("bbch", 60), ("cereal", 61)):
            code = getattr(self, name)
            if code is not None and int(code) != code:
                raise wrong(name, code, f"give a whole number, such as {such_as}")
            object.__setattr__(self, name, None if code is None else int(code))
        if self.bloom_percent is not None and self.bbch is not None:
            raise wrong("bbch", self.bbch, "bloom_percent is given too; keep one of them")
        check_kind("note", self.note, str)
        if not self.of_the_stand and self.soil_c is None:
            raise UsageError(f"give bloom_percent or bbch, or what was measured: {', '.join(list(MEASURED)[2:])}")

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
    def of_the_legume(self) -> bool:
        """Whether anything was seen or measured that the legume has to be alive for."""
        return self.has_stage or any(getattr(self, name) is not None for name in _OF_THE_LEGUME)

    @property
    def of_the_stand(self) -> bool:
        """Whether anything was seen or measured that a standing cover is needed for."""
        return self.of_the_legume or self.cereal is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """A field that may have no cover yet: its place, its weather, and what is to follow the cover.

    Attributes
    ----------
    name : str
    latitude, longitude : float
        [degrees], north and east positive.
    cover : CoverEntry or None
    crop : CropEntry
    weather : WeatherEntry
        The nearest stations by default.
    aim : AimEntry
        The crop first, on any day, by default.
    elevation_m : float or None
        [m]
    area_m2 : float or None
        [m2]
    scouting : tuple of ScoutingNote
        In order of time; none without a cover.
    beds, amendments, soil
        As in the field file.
    """

    name: Annotated[str, _NAME]
    latitude: Annotated[float, LATITUDE]
    longitude: Annotated[float, LONGITUDE]
    cover: CoverEntry | None = None
    crop: Annotated[CropEntry, "write a table [field.crop]: it says what is to follow the cover"]
    weather: WeatherEntry = WeatherEntry()
    aim: AimEntry = AimEntry()
    elevation_m: Annotated[float | None, EXTENT["elevation_m"]] = None
    area_m2: Annotated[float | None, EXTENT["area_m2"]] = None
    scouting: Annotated[tuple[ScoutingNote, ...], "write each note as its own [[field.scouting]]"] = ()
    beds: BedsEntry = _NO_BEDS
    amendments: Annotated[tuple[AmendmentEntry, ...], {"amendment": "write each as its own [[field.amendment]]"}] = ()
    soil: SoilEntry = _NO_SOIL

    @property
    def in_squares(self) -> bool:
        """Whether the crop stands in squares that are cut into a sheet."""
        return self.beds.in_squares(self.crop.ground_cover)

    @property
    def seedbed(self) -> CropEntry:
        """The crop with the ground that its seed lies in: the open square of a sheet is taken to warm as bare soil."""
        return replace(self.crop, ground_cover="bare") if self.in_squares else self.crop

    def __post_init__(self) -> None:
        check_kind("name", self.name, str)
        if not self.name.strip():
            raise wrong("name", self.name, _NAME.way_out)
        check_place(self.latitude, self.longitude)
        for name, kinds in EXTENT.items():
            check_number(name, getattr(self, name), kinds[name])
        for name, kind in (("crop", CropEntry), ("weather", WeatherEntry), ("aim", AimEntry)):
            check_kind(name, getattr(self, name), kind)
        if self.cover is not None:
            check_kind("cover", self.cover, CoverEntry)
        _check_planted(self.crop, self.cover)
        _check_aim(self.aim, self.cover)
        for number, note in enumerate(self.scouting, start=1):
            check_kind("scouting", note, ScoutingNote)
            check_visit(note, self.cover, f"scouting {number}: ")
        object.__setattr__(self, "scouting", tuple(sorted(self.scouting, key=lambda note: note.date)))

    @property
    def terminate(self) -> str:
        """The way in which the cover is, or is to be, ended."""
        return TURN_UNDER if self.cover is None else self.cover.terminate


@dataclass(frozen=True, slots=True, kw_only=True)
class Field(Ground):
    """A field with a cover that was sown; all else as in :class:`Ground`."""

    cover: CoverEntry

    def __post_init__(self) -> None:
        check_kind("cover", self.cover, CoverEntry)
        Ground.__post_init__(self)


def check_place(latitude: float | None, longitude: float | None) -> None:
    """Refuse what is no place on earth."""
    for name, value, kind in (("latitude", latitude, LATITUDE), ("longitude", longitude, LONGITUDE)):
        if value is None:
            raise wrong(name, value, kind.way_out)
        check_number(name, value, kind)


def _check_planted(crop: CropEntry, cover: CoverEntry | None) -> None:
    """Refuse a crop that was planted before its cover was ended."""
    planted = crop.planted
    if planted is None:
        return
    if cover is None:
        raise wrong("crop: planted", planted, "the field has no cover yet; leave the line out, or enter the cover")
    if cover.turned_under is None:
        raise wrong("crop: planted", planted, "the cover is still standing; give turned_under of the cover too")
    if planted <= cover.turned_under:
        raise wrong("crop: planted", planted, f"is not after turning under on {cover.turned_under}")


def _check_aim(aim: AimEntry, cover: CoverEntry | None) -> None:
    """Refuse a day of planting before the cover is sown."""
    if cover is not None and aim.plant_by is not None and aim.plant_by <= cover.sown:
        raise wrong("aim: plant_by", aim.plant_by, f"is not after sowing on {cover.sown}")


def check_share(share: object, cereal: str | None) -> tuple[float, float]:
    """The legume's share of a stand [%], from and to; refuse what is none, or has no cereal beside it."""
    ends = share if isinstance(share, tuple | list) else (share, share)
    if len(ends) != 2:
        raise wrong("legume_percent", share, "give the share, or the lowest and the highest that it may be")
    for end in ends:
        check_number("legume_percent", end, NOTED["legume_percent"])
    if None in ends or ends[0] > ends[1]:
        raise wrong("legume_percent", share, "give the lower share first")
    if cereal is None:
        raise wrong("legume_percent", share, 'has no cereal beside it; name that too, with = "rye", or leave it out')
    return float(ends[0]), float(ends[1])


def check_visit(note: ScoutingNote, cover: CoverEntry | None, place: str = "") -> None:
    """Refuse a visit before sowing, one to a stand that was turned under, and a cereal where none was sown."""
    date = f"{place}date"
    if cover is None:
        raise wrong(date, note.date, "is that of a note on a cover, and the field has none yet")
    for name in ("cereal", "legume_percent"):
        if cover.companion is None and (seen := getattr(note, name)) is not None:
            way_out = 'the field has no cereal beside its legume; add with = "rye" to its cover'
            raise wrong(f"{place}{name}", seen, way_out)
    ended = cover.turned_under
    if note.date <= cover.sown:
        raise wrong(date, note.date, f"is not after sowing on {cover.sown}")
    if ended is not None and note.date > ended and note.of_the_stand:
        raise wrong(date, note.date, f"is after turning under on {ended}; mend one of the two, or note the soil alone")


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldFile:
    """A field file as read.

    Attributes
    ----------
    path : pathlib.Path
    entries : tuple of Ground
        All that stand in it, in their order.
    today : datetime.date or None
        Only where the file fixes it itself.
    units : str
        In which its owner thinks: ``metric`` or ``us``.
    """

    path: Path
    entries: tuple[Ground, ...]
    today: dt.date | None = None
    units: Units = "metric"

    @property
    def fields(self) -> tuple[Field, ...]:
        """Those with a cover."""
        return tuple(entry for entry in self.entries if isinstance(entry, Field))

    @property
    def unsown(self) -> tuple[Ground, ...]:
        """Those without a cover yet."""
        return tuple(entry for entry in self.entries if not isinstance(entry, Field))


def legume(name: str) -> Cover:
    """A cover by its name.

    Raises
    ------
    ParameterError
        If it is none; a cereal is told its place.
    """
    try:
        return catalogue.cover(name)
    except UnknownNameError:
        with suppress(UnknownNameError):
            cereal = companion(name).common_name
            raise ParameterError(
                f"species = {name!r}: {cereal} is no legume; name the legume as the species, and the cereal beside it "
                f"as with = {name!r}"
            ) from None
        raise


def cover_of(entry: CoverEntry) -> Cover:
    """The cover of an entry, with its own numbers where it has some."""
    cover = catalogue.of_cultivar(catalogue.cover(entry.species), entry.cultivar)
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
        if day is None or day <= today:
            continue
        way_out = "mend the date"
        if key == "turned_under":
            way_out = "enter it once it is done; covercrop compare shows what a day to come would give"
        raise FieldFileError(f"{key} = {day} is after {today}, today; {way_out}")
