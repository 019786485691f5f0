"""The cereals that are sown beside a legume: one table of ``data/companions.toml`` each, cited like all else."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from functools import cache

from covercrop.base.errors import UnknownNameError
from covercrop.base.records import CitedValue
from covercrop.parameters.catalogue import cover, covers, names_in, of_name
from covercrop.parameters.traits import Cover, Winter

_FILE = "companions.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class CerealBloom:
    """How much later a cereal flowers than cereal rye, whose clock it follows.

    Attributes
    ----------
    offset : CitedValue
        Later than rye [d]; its range is taken for an 80 % interval.
    spread : CitedValue
        Standard deviation of the day at a new place [d].
    """

    offset: CitedValue
    spread: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class CerealNitrogen:
    """Nitrogen in the dry matter of a cereal.

    Attributes
    ----------
    tillering, jointing, flowering : CitedValue
        While it tillers, when its stems stretch, and in flower [% N].
    spread : CitedValue
        Coefficient of variation among stands [1].
    carbon : CitedValue
        Carbon in the dry matter [%].
    """

    tillering: CitedValue
    jointing: CitedValue
    flowering: CitedValue
    spread: CitedValue
    carbon: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class CerealResidue:
    """The pools of what is left of a cereal [1]."""

    carbohydrate: CitedValue
    cellulose: CitedValue
    lignin: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class CerealWait:
    """From ending a cereal until the crop may follow it [d].

    Attributes
    ----------
    large_seed : CitedValue
        Large seed and transplants, after it was turned under.
    small_seed : CitedValue
        Small seed, after it was turned under.
    small_seed_on_top : CitedValue
        Small seed, where it lies on top.
    """

    large_seed: CitedValue
    small_seed: CitedValue
    small_seed_on_top: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class CerealSowing:
    """Seed of a cereal sown alone, and beside a legume that is to lead [kg/ha], and its depth [m]."""

    alone: CitedValue
    beside: CitedValue
    depth: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Companion:
    """A cereal beside a legume: one table of ``data/companions.toml``.

    Attributes
    ----------
    toxic : bool
        Whether what it gives off is known to harm small seed.
    also : tuple of str
        What else growers call it.
    """

    key: str
    common_name: str
    scientific_name: str
    confidence: str
    toxic: bool
    bloom: CerealBloom
    winter: Winter
    nitrogen: CerealNitrogen
    residue: CerealResidue
    wait: CerealWait
    sowing: CerealSowing
    also: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def companion_names() -> tuple[str, ...]:
    """Keys of the cereals that are known."""
    return names_in(_FILE)


def companions() -> tuple[Companion, ...]:
    """Every cereal that is known beside a legume, in the order of the file; ``covercrop covers`` lists them.

    Returns
    -------
    tuple of Companion
        Each number a :class:`~covercrop.base.records.CitedValue`, with its unit, range and source.
    """
    return tuple(companion(name) for name in companion_names())


@cache
def companion(name: str) -> Companion:
    """A cereal by its name, such as ``cereal-rye``, ``Cereal rye`` or ``rye``; ``covercrop covers NAME`` shows it.

    Returns
    -------
    Companion
        Each number a :class:`~covercrop.base.records.CitedValue`, with its unit, range and source.

    Raises
    ------
    UnknownNameError
        If there is no such cereal; names near matches.
    """
    return of_name(Companion, "companion", name, _FILE)


def cover_or_companion(name: str) -> Cover | Companion:
    """A cover, or a cereal that is sown beside one, by its name.

    Raises
    ------
    UnknownNameError
        If there is neither; names near matches of both.
    """
    with suppress(UnknownNameError):
        return companion(name)
    with suppress(UnknownNameError):
        return cover(name)
    known: tuple[Cover | Companion, ...] = (*covers(), *companions())
    also = {other: each.key for each in known for other in each.also}
    raise UnknownNameError("cover", name, [each.key for each in known], also)
