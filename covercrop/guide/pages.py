"""The pages of the manual, read from where they are shipped."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files

from covercrop.base.errors import UnknownNameError

#: The order in which a reader needs them.
TOPICS = (
    "fields",
    "reading",
    "ending",
    "mixtures",
    "soil",
    "weather",
    "commands",
    "notes",
    "sow",
    "beds",
    "calendar",
    "report",
    "many",
    "region",
    "trust",
    "calibrate",
    "winter",
    "limits",
    "safety",
    "method",
    "values",
    "degree-days",
    "class",
    "library",
    "changes",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A page: its one-word topic, the question that it answers, and its text in Markdown, question and all."""

    topic: str
    question: str
    text: str


def guide_page(topic: str) -> Page:
    """One page of the manual; ``covercrop guide TOPIC`` prints it.

    Parameters
    ----------
    topic : str
        One of :data:`TOPICS`, in any spelling of case.

    Returns
    -------
    Page
        Its topic, the question that it answers, and its text in Markdown.

    Raises
    ------
    UnknownNameError
        If there is no such page; names near matches.
    """
    name = topic.casefold()
    if name not in TOPICS:
        raise UnknownNameError("topic", topic, TOPICS)
    text = files("covercrop.guide").joinpath(f"{name}.md").read_text(encoding="utf-8")
    return Page(topic=name, question=text.partition("\n")[0].removeprefix("# "), text=text)


def guide_pages() -> list[Page]:
    """All pages of the manual, in the order in which a reader needs them; ``covercrop guide`` lists them.

    Returns
    -------
    list of Page
    """
    return [guide_page(topic) for topic in TOPICS]
