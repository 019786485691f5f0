"""What a season is followed from: everything that it depends on, as one record."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from covercrop.field.entries import cover_of
from covercrop.parameters import catalogue
from covercrop.parameters.companions import companion

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Hashable

    from covercrop.field.entries import AimEntry, CoverEntry, CropEntry, Field, ScoutingNote
    from covercrop.parameters.companions import Companion
    from covercrop.parameters.traits import Cover, Crop
    from covercrop.weather.outlook import Outlook


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """Everything that stand and ground depend on but place and weather: those of equal conditions are worked together.

    Attributes
    ----------
    sown : CoverEntry
    planting : CropEntry
        As they were known on the day of the answer, but for what was done on some day: that is in :class:`Start`.
    aim : AimEntry
    scouting : tuple of ScoutingNote
        As it was known on that day.
    today : int
        Day index of that day.
    cover : Cover
    crop : Crop
        What the two entries stand for.
    companion : Companion or None
        The cereal beside the cover.
    """

    sown: CoverEntry
    planting: CropEntry
    aim: AimEntry
    scouting: tuple[ScoutingNote, ...]
    today: int
    cover: Cover = dataclasses.field(compare=False)
    crop: Crop = dataclasses.field(compare=False)
    companion: Companion | None = dataclasses.field(default=None, compare=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Start:
    """What a chain is followed from: conditions, and a place with its weather.

    Attributes
    ----------
    conditions : Conditions
    ended, planted : datetime.date or None
        The day on which the cover was ended, and the crop planted; None while it was not.
    latitude : float
        [degrees], north positive.
    outlook : Outlook
    """

    conditions: Conditions
    ended: dt.date | None
    planted: dt.date | None
    latitude: float
    outlook: Outlook

    @classmethod
    def of(cls, field: Field, outlook: Outlook, today: int) -> Start:
        """What a field is followed from.

        Parameters
        ----------
        field : Field
            As it was known on the day of the answer.
        outlook : Outlook
        today : int
            Day index of that day.

        Raises
        ------
        ParameterError
            If the cover or the crop is not known.
        """
        conditions = Conditions(
            sown=replace(field.cover, turned_under=None),
            planting=replace(field.seedbed, planted=None),
            aim=field.aim,
            scouting=field.scouting,
            today=today,
            cover=cover_of(field.cover),
            crop=catalogue.crop(field.crop.name),
            companion=None if field.cover.companion is None else companion(field.cover.companion),
        )
        return cls(
            conditions=conditions,
            ended=field.cover.turned_under,
            planted=field.crop.planted,
            latitude=field.latitude,
            outlook=outlook,
        )

    @property
    def joins(self) -> Hashable:
        """What is equal in all that are followed together: the conditions, and the axes of the arrays.

        A field with scouting notes goes alone, since its members are weighed and drawn by them.
        """
        if self.conditions.scouting:
            return self
        outlook = self.outlook
        return (
            self.conditions,
            (outlook.days[0], outlook.tmin.shape, outlook.lead.shape, outlook.complete),
            self.latitude >= 0,
        )
