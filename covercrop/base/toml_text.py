"""A TOML text that keeps what is not changed in it: read, added to, and text again.

Comments, blank lines, order and spelling are tomlkit's to keep.  It is
imported where it is needed: what only reads goes without it.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from contextlib import suppress
from copy import deepcopy
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tomlkit.items import Item, Table


class NoPlaceError(Exception):
    """A text takes no table where one is to go: ``key`` stands in the way.  Never leaves the package."""

    def __init__(self, key: str) -> None:
        super().__init__(f"{key} takes no table")
        self.key = key


def with_table(
    text: str, inside: tuple[str, int], key: str, entry: Mapping[str, Any], said: Mapping[str, str] | None = None
) -> str:
    """A text with one more table in a list of tables, such as ``[[field.scouting]]`` of the first ``[[field]]``.

    Parameters
    ----------
    text : str
        TOML, without a byte-order mark.
    inside : (str, int)
        The list of tables, and which of them is added to.
    key : str
        The list inside it, which is begun where there is none.
    entry : mapping of str to date, number or text
    said : mapping of str to str
        Comments to keys of the entry.

    Returns
    -------
    str
        All of the text, and the new lines at the end of the list, or of the
        table where the list is new; a blank line and a comment that stand
        before what follows stay there.

    Raises
    ------
    NoPlaceError
        If one of the two is not written as tables of their own, or the text
        would come to say anything but what it said and the entry.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError
    from tomlkit.items import AoT

    newline = "\r\n" if 2 * text.count("\r\n") > text.count("\n") else "\n"
    whole = text if text.endswith("\n") else text + newline
    wanted = deepcopy(tomllib.loads(whole))
    wanted[inside[0]][inside[1]].setdefault(key, []).append(dict(entry))
    new = _table(entry, said or {}, newline)
    try:
        document = tomlkit.parse(whole)
        tables = document[inside[0]]
        if not isinstance(tables, AoT):
            raise NoPlaceError(inside[0])
        table = tables[inside[1]]
        listed = table.get(key, tomlkit.aot())
        if not isinstance(listed, AoT):
            raise NoPlaceError(key)
        if document.as_string() != whole:
            told = _put_in(whole, inside, f"[[{inside[0]}.{key}]]{newline}{new.as_string()}", wanted, newline)
            return _ended_as(text, told, new.as_string(), newline)
        before = _end(listed[-1] if listed else table)
        at_the_end = before is _end(document)
        rest = _taken(before, comments=not at_the_end)
        tail = "".join(item.as_string() for _, item in rest)
        if not at_the_end and not tail.lstrip(" \t").startswith(("\n", "\r\n")):
            new.value.body.append((None, tomlkit.ws(newline)))
        new.value.body.extend(rest)
        listed.append(new)
        if key not in table:
            table.append(key, listed)
        told = _ended_as(text, document.as_string(), new.as_string(), newline)
        return _saying(told, wanted, inside[0])
    except TOMLKitError:
        raise NoPlaceError(inside[0]) from None


def without(text: str, inside: tuple[str, int], key: str, number: int) -> str:
    """A text without one table of a list of tables, such as the second ``[[field.scouting]]`` of one ``[[field]]``.

    Parameters
    ----------
    text : str
        TOML, without a byte-order mark.
    inside : (str, int)
        The list of tables, and which of them is taken from.
    key : str
        The list inside it.
    number : int
        The place of the table in that list.

    Returns
    -------
    str
        All else of the text: a comment before what follows stays, one inside the table goes with it.

    Raises
    ------
    NoPlaceError
        If the table is not written under a header of its own, or the text would come to say anything else.
    """
    wanted = deepcopy(tomllib.loads(text))
    listed = [outer.get(key, []) for outer in wanted[inside[0]]]
    place = sum(map(len, listed[: inside[1]])) + number
    listed[inside[1]].pop(number)
    if not listed[inside[1]]:
        del wanted[inside[0]][inside[1]][key]
    names = rf"[\"']?{re.escape(inside[0])}[\"']?[ \t]*\.[ \t]*[\"']?{re.escape(key)}[\"']?"
    headers = [found.start() for found in re.finditer(rf"^[ \t]*\[\[[ \t]*{names}[ \t]*\]\]", text, re.MULTILINE)]
    if place >= len(headers):
        raise NoPlaceError(key)
    start = headers[place]
    body = text.index("\n", start) + 1 if "\n" in text[start:] else len(text)
    # What follows begins at a header, with the blank lines and comments before it.
    after = re.search(r"(?:^[ \t]*(?:#[^\n]*)?\r?\n)*^[ \t]*\[", text[body:], re.MULTILINE)
    rest = text[body + after.start() :] if after else ""
    told = re.sub(r"\r?\n[ \t]*(\r?\n)\Z", r"\1", text[:start]) + rest
    return _saying(told, wanted, key)


def with_changed(
    text: str, inside: tuple[str, int], key: str, number: int, entry: Mapping[str, Any], said: Mapping[str, str]
) -> str:
    """A text with another entry in the place of one of a list, such as the last ``[[field.scouting]]`` of a field.

    Parameters
    ----------
    text : str
        TOML, without a byte-order mark.
    inside : (str, int)
        The list of tables, and which of them is changed.
    key : str
        The list inside it.
    number : int
        The place of the entry in that list.
    entry : mapping of str to date, number or text
        Keys that stand there already keep their line, and the others go.
    said : mapping of str to str
        Comments to keys whose value is another.

    Returns
    -------
    str
        All else of the text.

    Raises
    ------
    NoPlaceError
        If the text would come to say anything but what it said and the entry.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    wanted = deepcopy(tomllib.loads(text))
    old = wanted[inside[0]][inside[1]][key][number]
    wanted[inside[0]][inside[1]][key][number] = dict(entry)
    try:
        document = tomlkit.parse(text)
        if document.as_string() != text:
            raise NoPlaceError(key)
        table: Any = document[inside[0]][inside[1]][key][number]
        for name in [name for name in old if name not in entry]:
            del table[name]
        for name, value in entry.items():
            if name not in old or old[name] != value:
                table[name] = value
                if name in said:
                    table[name].comment(said[name])
                    table[name].trivia.comment_ws = "  "
        return _saying(document.as_string(), wanted, key)
    except TOMLKitError:
        raise NoPlaceError(key) from None


def with_entry(text: str, key: str, entry: Mapping[str, Any]) -> str:
    """A text with one more table at its end, in a list of tables such as ``[[field]]``.

    Parameters
    ----------
    text : str
        TOML, without a byte-order mark; it may be empty.
    key : str
        The list, which is begun where there is none.
    entry : mapping of str to date, number, text, or a mapping of the same

    Returns
    -------
    str
        All of the text, and the new lines.

    Raises
    ------
    NoPlaceError
        If the list is not written as tables of their own.
    tomllib.TOMLDecodeError
        If the text is no TOML.
    """
    import tomlkit

    newline = "\r\n" if 2 * text.count("\r\n") > text.count("\n") else "\n"
    wanted = deepcopy(tomllib.loads(text))
    wanted.setdefault(key, [])
    if not isinstance(wanted[key], list):
        raise NoPlaceError(key)
    wanted[key].append(entry)
    new = tomlkit.dumps({key: [entry]}).replace("\n", newline)
    ended = text if not text or text.endswith("\n") else text + newline
    told = f"{ended}{newline if ended.strip() else ''}{new}"
    return _saying(told, wanted, key)


def _ended_as(text: str, told: str, new: str, newline: str) -> str:
    """The new text without a line end that the old one did not have, where the new table is not the last."""
    last = text.rpartition("\n")[2]
    ours = not last or told.endswith(new) or not told.endswith(last + newline)
    return told if ours else told.removesuffix(newline)


def _table(entry: Mapping[str, Any], said: Mapping[str, str], newline: str) -> Table:
    """A table of its own, a blank line before it."""
    import tomlkit

    new = tomlkit.table()
    new.trivia.indent, new.trivia.trail = newline, newline
    for name, value in entry.items():
        item = tomlkit.item(value)
        item.trivia.trail = newline
        if name in said:
            item.comment(said[name])
            item.trivia.comment_ws = "  "
        new.append(name, item)
    return new


def _put_in(text: str, inside: tuple[str, int], table: str, wanted: dict[str, Any], newline: str) -> str:
    """The same for a list with another table between two of its own, which tomlkit does not keep where they stand."""
    header = rf"^[ \t]*\[\[[ \t]*[\"']?{re.escape(inside[0])}[\"']?[ \t]*\]\]"
    # Blank lines and a comment before a header belong to it; what looks like a comment may be the end of a text.
    with_comment = rf"(?:^[ \t]*\r?\n)*(?:^[ \t]*#[^\n]*\n)*{header}"
    ends = [
        end
        for before in (with_comment, header)
        for end in [*(match.start() for match in re.finditer(before, text, re.MULTILINE)), len(text)][1:]
    ]
    for end in ends[inside[1] :] + ends[: inside[1]]:
        gap = newline if text[end:] and not text[end:].lstrip(" \t").startswith(("\n", "\r\n")) else ""
        told = f"{text[:end]}{newline}{table}{gap}{text[end:]}"
        with suppress(tomllib.TOMLDecodeError):
            if tomllib.loads(told) == wanted:
                return told
    raise NoPlaceError(inside[0])


def _saying(told: str, wanted: dict[str, Any], key: str) -> str:
    """A text that says what is wanted: that a change landed in the right place is not taken on trust."""
    try:
        if tomllib.loads(told) != wanted:
            raise NoPlaceError(key)
    except tomllib.TOMLDecodeError:
        raise NoPlaceError(key) from None
    return told


def _end(table: Any) -> list[tuple[Any, Item]]:
    """The items among which the last line of a table or a document stands."""
    from tomlkit.items import AoT, Table

    body: list[tuple[Any, Item]] = (table.value if isinstance(table, Table) else table).body
    last = body[-1][1] if body else None
    if isinstance(last, AoT):
        return _end(last[-1])
    return _end(last) if isinstance(last, Table) else body


def _taken(body: list[tuple[Any, Item]], *, comments: bool) -> list[tuple[Any, Item]]:
    """Take the blank lines at the end, and the comment after them, out of a body."""
    from tomlkit.items import Comment, Whitespace

    cut = len(body)
    for kind in (Comment, Whitespace) if comments else (Whitespace,):
        while cut and isinstance(body[cut - 1][1], kind):
            cut -= 1
    rest = body[cut:]
    del body[cut:]
    return rest
