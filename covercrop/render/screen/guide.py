"""The manual in a terminal: the list of its pages, and one page as text."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, ClassVar

from rich.cells import cell_len
from rich.markdown import CodeBlock, Heading, Markdown, MarkdownElement, TableElement
from rich.table import Table
from rich.text import Text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console, ConsoleOptions, RenderResult

    from covercrop.guide.pages import Page
    from covercrop.render.screen.terminal import Screen

#: What only other readers of a page have a use for: marks for its tests, and pictures.
_UNSEEN = re.compile(r"^(<!--.*-->|!\[.*\]\(.*\))\n", flags=re.MULTILINE)

#: A link to another page, which here is another topic.
_LINK = re.compile(r"\[([^\]]+)\]\(([a-z-]+)\.md\)")

#: Blanks between two columns of a table.
_GAP = 2


class _Title(Heading):
    """A heading at the left, whatever the release of rich."""

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        text = self.text.copy()
        text.justify = "left"
        yield text


class _AsItStands(CodeBlock):
    """A block of code or of recorded output, to be read and copied: no frame of blanks, which would break its lines."""

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        yield Text(str(self.text).rstrip(), overflow="fold")


class _Rows(TableElement):
    """A table; where the screen is too narrow for its words, a line a row that names each column."""

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        if self.header is None or self.header.row is None or self.body is None:
            return
        headings = [cell.content for cell in self.header.row.cells]
        rows = [[cell.content for cell in row.cells] for row in self.body.rows]
        widths = _widths(list(zip(headings, *rows, strict=True)), options.max_width)
        if widths is None:
            for row in rows:
                named = (Text(f"{heading}: ").append(cell) for heading, cell in zip(headings, row, strict=True))
                yield Text("- ").append(Text("; ").join(named))
            return
        table = Table(box=None, padding=(0, _GAP, 0, 0), pad_edge=False)
        for heading, width in zip(headings, widths, strict=True):
            table.add_column(heading, width=width, header_style="dim")
        for row in rows:
            table.add_row(*row)
        yield table


def _widths(columns: Sequence[Sequence[Text]], room: int) -> list[int] | None:
    """A width for each column that breaks no word, and what is left over where it is most wanted; None without room."""
    wanted = [max(cell.cell_len for cell in column) for column in columns]
    widths = [max(cell_len(word) for cell in column for word in cell.plain.split()) for column in columns]
    spare = room - sum(widths) - _GAP * (len(widths) - 1)
    if spare < 0:
        return None
    for _ in range(spare):
        place = max(range(len(widths)), key=lambda column: wanted[column] - widths[column])
        if widths[place] >= wanted[place]:
            break
        widths[place] += 1
    return widths


class _Manual(Markdown):
    """Markdown whose blocks and tables keep to the screen."""

    elements: ClassVar[dict[str, type[MarkdownElement]]] = {
        **Markdown.elements,
        "heading_open": _Title,
        "fence": _AsItStands,
        "table_open": _Rows,
    }


def contents(screen: Screen, pages: Sequence[Page]) -> None:
    """Print the pages that there are, a line each."""
    screen.say("covercrop guide TOPIC shows a page:")
    screen.table((("topic", "whole"), ("question", "left")), [(page.topic, page.question) for page in pages])


def show(screen: Screen, page: Page) -> None:
    """Print one page."""
    text = _LINK.sub(r"`covercrop guide \2`", _UNSEEN.sub("", page.text))
    content = _Manual(text, hyperlinks=False, justify="left")
    if not screen.plain:
        screen.show(content)
        return
    with screen.console.capture() as drawn:  # bullets and rules are drawn too, which this output may not hold
        screen.console.print(content, width=screen.width)
    for line in drawn.get().splitlines():
        screen.show(Text(screen.fit(line.rstrip())))
