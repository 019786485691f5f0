"""One field followed, and many: notes in doubt left out in turn, fields of the same conditions taken together."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from covercrop.field.entries import CoverEntry, ScoutingNote
from covercrop.season.chain import Chain, follow_together, grow, of_soil
from covercrop.season.doubts import Doubt
from covercrop.season.ending import Ahead, Dispute, Rival
from covercrop.season.stand import Stand

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterable, Iterator, Sequence

    from covercrop.models.members import Draws
    from covercrop.season.start import Start

#: Stands of one field, by how it was sown and is ended, its notes, and those of them that are left aside.
Grown = dict[tuple[CoverEntry, tuple[ScoutingNote, ...], tuple[ScoutingNote, ...]], Stand]

#: Fields followed together: enough that starting each step costs little, so few that its arrays stay in the cache.
TOGETHER = 16

#: Notes in doubt that are left out one by one to see what comes of it; more than these only all together.
MOST_ALONE = 5


def follow(
    start: Start, draws: Draws, *, stand: Stand | None = None, ahead: Ahead | None = None, grown: Grown | None = None
) -> Chain:
    """Follow a field from sowing to the planting of the crop.

    Parameters
    ----------
    start : Start
    draws : Draws
    stand : Stand, optional
        That of a chain without rivals, where nothing but the planting or the way of ending is to be changed.
    ahead : Ahead, optional
        That of the same chain, where nothing but the way of ending is to be changed.
    grown : dict, optional
        The stands of the field that were grown before, by what they depend on, where nothing but the planting or the
        way of ending changes from one following to the next; those that are grown now are put into it.

    Notes
    -----
    Where notes do not fit (:mod:`covercrop.season.doubts`), the season is followed without them as well, and the
    answer is one that both bear out.  Where no day of ending the cover is borne out by both, it is the one without
    them.

    Raises
    ------
    UnknownNameError
        If the cover has no such cultivar, or there is no such method or ground cover.
    """
    if stand is None:
        return _answer(start, draws, {}, {} if grown is None else grown)
    [chain] = follow_together([start], draws, stand=stand, ahead=ahead)
    return chain


def doubts_about(start: Start, note: ScoutingNote, draws: Draws) -> tuple[Doubt, ...]:
    """What does not fit of one note of a field: the weather, or another note of it.

    Parameters
    ----------
    start : Start
        With the note among its own.
    note : ScoutingNote
    draws : Draws

    Returns
    -------
    tuple of Doubt
        Empty where it fits, and where a note of another day tells the same.
    """
    [chain] = follow_together([start], draws)
    found = (*chain.stand.doubts, *of_soil(chain.ground))
    return tuple(doubt for doubt in found if note in (doubt.note, doubt.against) and not doubt.confirmed)


def follow_each(starts: Iterable[Start], draws: Draws) -> Iterator[tuple[int, Start, Chain]]:
    """Follow many fields, those together that can be, which takes far less than one after the other.

    Parameters
    ----------
    starts : iterable of Start
        Taken as they are needed.
    draws : Draws

    Yields
    ------
    tuple
        The place of a field in the order of ``starts``, what it was followed from and its chain, as soon as it is
        there, which is not in that order.

    Raises
    ------
    UnknownNameError
        As :func:`follow`.
    """
    waiting: dict[Hashable, list[tuple[int, Start]]] = {}

    def settled(group: list[tuple[int, Start]]) -> Iterator[tuple[int, Start, Chain]]:
        starts = [start for _, start in group]
        chains = [follow(start, draws) for start in starts] if len(starts) == 1 else follow_together(starts, draws)
        return ((place, start, chain) for (place, start), chain in zip(group, chains, strict=True))

    for place, start in enumerate(starts):
        group = waiting.setdefault(start.joins, [])
        group.append((place, start))
        if len(group) == TOGETHER:
            yield from settled(waiting.pop(start.joins))
    for group in waiting.values():
        yield from settled(group)


def _answer(start: Start, draws: Draws, known: dict[tuple[ScoutingNote, ...], Chain], grown: Grown) -> Chain:
    """The chain of a field that goes alone; ``known`` are those of the same field with other notes."""
    notes = start.conditions.scouting
    if notes in known:
        return known[notes]
    chain = _alone(start, draws, grown)
    doubts = [doubt for doubt in chain.doubts if not doubt.of_soil]
    known[notes] = _held(start, chain, doubts, draws, known, grown) if doubts else chain
    return known[notes]


def _alone(
    start: Start,
    draws: Draws,
    grown: Grown,
    *,
    set_aside: Sequence[ScoutingNote] = (),
    dispute: Dispute | None = None,
    ahead: Ahead | None = None,
) -> Chain:
    """One field followed, with its stand if that was grown before."""
    asked = start.conditions.sown, start.conditions.scouting, tuple(set_aside)
    if asked not in grown:
        grown[asked] = grow([start], draws, start.outlook, set_aside)
    [chain] = follow_together([start], draws, dispute=dispute, stand=grown[asked], ahead=ahead)
    return chain


def _held(
    start: Start,
    chain: Chain,
    doubts: Sequence[Doubt],
    draws: Draws,
    known: dict[tuple[ScoutingNote, ...], Chain],
    grown: Grown,
) -> Chain:
    """The chain of a field of which some notes of its stages are in doubt, held to what it is without them."""

    def without(*doubted: Doubt) -> Chain:
        left = {doubt.note for doubt in doubted}
        scouting = tuple(note for note in start.conditions.scouting if note not in left)
        return _answer(replace(start, conditions=replace(start.conditions, scouting=scouting)), draws, known, grown)

    def rival(other: Chain) -> Rival:
        return Rival(
            stand=other.stand,
            weights=other.weights,
            ending=other.ending,
            closed=other.closed_by(start.conditions.today - 1),
        )

    def follow_without(doubted: Sequence[Doubt], dispute: Dispute) -> Chain:
        left = [doubt.note for doubt in doubted]
        # With no note left aside it is the same stand, and what there is to choose from is the same.
        ahead = None if left else chain.ahead
        held = _alone(start, draws, grown, set_aside=left, dispute=dispute, ahead=ahead)
        return replace(held, doubts=chain.doubts, rivals=rivals, settled=settled, set_aside=tuple(doubted))

    alone = [doubt for doubt in doubts if not doubt.confirmed]
    settled = without(*doubts)
    rivals = tuple(map(without, alone)) if len(alone) <= MOST_ALONE else (settled,)
    dispute = Dispute(rivals=tuple(map(rival, rivals)), settled=rival(settled))
    held = follow_without((), dispute)
    if held.ending.best is None and not held.ending.too_late and alone:
        held = follow_without(doubts, replace(dispute, rivals=(dispute.settled,), ceilings=dispute.rivals))
    return held
