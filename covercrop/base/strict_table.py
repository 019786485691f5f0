"""Tables of TOML made into frozen records, strictly; whatever is refused is told in one line.

A record says itself what its table may hold.  What an attribute may be is told by its type, or by a kind beside it
(:mod:`covercrop.base.kinds`): ``Annotated[float, Number(-90, 90, "give degrees north")]``; words alone, in the place of
a kind, are the way out for what the type does not take.  The key of an attribute is its name; a mapping names others,
each with its kind, of which one may be given: ``Annotated[float | None, {"soil_c": Number(...), "soil_f": ...}]``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import MISSING, fields, is_dataclass
from difflib import get_close_matches
from functools import cache
from types import MappingProxyType
from typing import Any, TypeVar, get_args, get_origin, get_type_hints

from covercrop.base.errors import CovercropError, shown
from covercrop.base.kinds import UnfitError

Record = TypeVar("Record")
#: What is made of a value, given the type of its attribute too.
Hook = Callable[[Any, Any], Any]
#: What keys say of each other: takes a table and the attributes made of it, and hands on those of the record.
Rule = Callable[[Mapping[str, Any], dict[str, Any]], dict[str, Any]]
_NO_RULES: Mapping[Any, Rule] = MappingProxyType({})


class _RefusedError(ValueError):
    """A table cannot be made into a record: the place of the fault inside it, and what is said there."""

    def __init__(self, place: str, said: str) -> None:
        self.place = place
        self.said = said
        super().__init__(place, said)


@cache
def _keys(record: Any) -> dict[str, dict[str, tuple[Any, Any]]]:
    """By attribute of a record and by key: the kind, the words or neither, and the type."""
    hints = get_type_hints(record, include_extras=True)
    found = {}
    for name in (field.name for field in fields(record)):
        (told,) = getattr(hints[name], "__metadata__", (None,))
        kind = hints[name] if told is None else hints[name].__origin__
        found[name] = {key: (each, kind) for key, each in (told if isinstance(told, dict) else {name: told}).items()}
    return found


def keys_of(record: type) -> tuple[str, ...]:
    """The keys that the table of a record may hold."""
    return tuple(key for keys in _keys(record).values() for key in keys)


def _is_tuple(kind: Any) -> bool:
    return get_origin(kind) is tuple


class TableReader:
    """Makes records of tables, and tells a grower what is wrong with one.

    Parameters
    ----------
    error : type
        What is raised, with its line.
    hooks : mapping of type to callable
        What is made of a value where an attribute is of that type: a kind, or else a hook as cattrs has them.
    rules : mapping of type to callable
        For a record, what its keys say of each other.
    """

    def __init__(
        self, error: type[CovercropError], hooks: Mapping[Any, Hook], rules: Mapping[Any, Rule] = _NO_RULES
    ) -> None:
        from cattrs import Converter

        self._error, self._hooks, self._rules = error, hooks, rules
        self._plans: dict[Any, tuple[dict[str, tuple[str, Hook, Any, str]], dict[str, str]]] = {}
        self._converter = Converter(detailed_validation=False)
        self._converter.register_structure_hook_factory(is_dataclass, lambda _: self.made)
        self._converter.register_structure_hook_factory(_is_tuple, lambda _: self._listed)
        for kind, hook in hooks.items():
            self._converter.register_structure_hook(kind, hook)

    def read(self, record: type[Record], table: Any, where: str, **given: Any) -> Record:
        """A record from a table.

        Parameters
        ----------
        record : type
            A dataclass.
        table : dict
        where : str
            Place named in messages, such as ``"covers.toml [hairy-vetch]"``.
        **given
            Attributes that do not stand in the table.

        Raises
        ------
        CovercropError
            If a key is unknown or missing, or a value is not what it should be.
        """
        try:
            made: Record = self.made(table, record, given)
        except _RefusedError as fault:
            raise self._error(f"{where}{fault.place}: {fault.said}") from None
        return made

    def made(self, table: Any, record: Any, given: Mapping[str, Any] = MappingProxyType({})) -> Any:
        """The record alone, for a hook that looks into a table further; it leaves to tell where that stands."""
        if not isinstance(table, dict):
            raise _RefusedError("", self.no_table(table))
        known, needed = self._plans.get(record) or self._plan(record)
        made = dict(given)
        for key, got in table.items():
            if key not in known or key in given:
                raise _RefusedError("", self.unknown(key, [each for each in known if each not in given]))
            name, hook, kind, way_out = known[key]
            if name in made:
                first = next(each for each in table if known[each][0] == name)
                raise _RefusedError(*self.unfit(key, got, f"{first} is given too; keep one of them"))
            made[name] = self._taken(self.joint, key, got, hook, kind, way_out)
        for name, said in needed.items():
            if name not in made:
                raise _RefusedError("", said)
        try:
            return record(**(self._rules[record](table, made) if record in self._rules else made))
        except CovercropError as error:
            raise _RefusedError("", str(error)) from None

    def _plan(self, record: Any) -> tuple[dict[str, tuple[str, Hook, Any, str]], dict[str, str]]:
        """For each key the attribute, the hook, its type and the way out; what is said of an attribute that lacks."""
        known: dict[str, tuple[str, Hook, Any, str]] = {}
        needed: dict[str, str] = {}
        without = {field.name for field in fields(record) if field.default is field.default_factory is MISSING}
        for name, keys in _keys(record).items():
            for key, (told, kind) in keys.items():
                hook = told if callable(told) else self._converter.get_structure_hook(kind)
                way_out = told if isinstance(told, str) else getattr(told or self._hooks.get(kind), "way_out", "")
                known[key] = name, hook, kind, way_out
                if name in without:
                    needed.setdefault(name, f"{key!r} is missing" + (f"; {way_out}" if way_out else ""))
        self._plans[record] = known, needed
        return known, needed

    def _listed(self, entries: Any, kind: Any) -> tuple[Any, ...]:
        if not isinstance(entries, list):
            raise UnfitError
        member, _ = get_args(kind)
        hook = self._converter.get_structure_hook(member)
        return tuple(
            self._taken(" ", str(number), got, hook, member, "") for number, got in enumerate(entries, start=1)
        )

    def _taken(self, joint: str, key: str, got: Any, hook: Hook, kind: Any, way_out: str) -> Any:
        """What a hook makes of a value; what is wrong with it is told with its place."""
        try:
            return hook(got, kind)
        except UnfitError as unfit:
            raise _RefusedError(*self.unfit(key, got, str(unfit) or way_out)) from None
        except _RefusedError as fault:
            raise _RefusedError(f"{joint}{key}{fault.place}", fault.said) from None
        except CovercropError as error:
            raise _RefusedError(f"{joint}{key}", str(error)) from None

    # How it is said to a grower.

    joint = ": "  #: between the place of a table and one of its keys

    def no_table(self, got: Any) -> str:
        """What is said of something else in the place of a table."""
        way_out = "write it once, with single brackets" if isinstance(got, list) else "write it as a table"
        return f"{shown(got)} is not one table; {way_out}"

    def unknown(self, key: str, known: list[str]) -> str:
        """What is said of a key that a table may not hold."""
        near = get_close_matches(key, known, n=1)
        way_out = f"did you mean {near[0]!r}?" if near else f"known keys: {', '.join(known)}"
        return f"unknown key {key!r}; {way_out}"

    def unfit(self, key: str, got: Any, way_out: str) -> tuple[str, str]:
        """What is said of a value that is not what it should be, and of which place in its table."""
        return "", f"{key} = {shown(got)}: {way_out}"
