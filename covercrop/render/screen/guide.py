"""The manual in a terminal: the list of its pages, and one page as text."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from rich.markdown import Markdown
from rich.text import Text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.guide.pages import Page
    from covercrop.render.screen.terminal import Screen

#: What only other readers of a page have a use for: marks for its tests, and pictures.
_UNSEEN = re.compile(r"^(<!--.*-->|!\[.*\]\(.*\))\n", flags=re.MULTILINE)

#: A link to another page, which here is another topic.
_LINK = re.compile(r"\[([^\]]+)\]\(([a-z-]+)\.md\)")


def contents(screen: Screen, pages: Sequence[Page]) -> None:
    """Print the pages that there are, a line each."""
    screen.say("covercrop guide TOPIC shows a page:")
    screen.table((("topic", "whole"), ("question", "left")), [(page.topic, page.question) for page in pages])


def show(screen: Screen, page: Page) -> None:
    """Print one page."""
    text = _LINK.sub(r"`covercrop guide \2`", _UNSEEN.sub("", page.text))
    content = Markdown(text, hyperlinks=False, justify="left")
    if not screen.plain:
        screen.show(content)
        return
    with screen.console.capture() as drawn:  # bullets and rules are drawn too, which this output may not hold
        screen.console.print(content, width=screen.width)
    for line in drawn.get().splitlines():
        screen.show(Text(screen.fit(line.rstrip())))
