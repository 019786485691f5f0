"""Draw the README's two pictures from the demonstration: ``python data/demo/make_pictures.py``.

Needs covercrop with its extra ``report``.  A test says when they are no longer current.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from covercrop.field.file import read_fields
from covercrop.field.weather_source import field_weather
from covercrop.render.page.report import picture
from covercrop.season.plan import make_plan

HERE = Path(__file__).resolve().parent
PICTURES = {"season.svg": "season", "planting.svg": "limits"}


def pictures() -> dict[str, str]:
    """The pictures by the names of their files, of the first field of the demonstration."""
    file = read_fields(HERE / "fields.toml")
    if file.today is None:
        raise SystemExit("data/demo/fields.toml has lost its day")
    field = file.fields[0]
    plan = make_plan(field, field_weather(field, file.today), np.datetime64(file.today, "D"))
    return {name: picture(plan, chart, ".svg").decode() for name, chart in PICTURES.items()}


if __name__ == "__main__":
    for name, drawn in pictures().items():
        (HERE / name).write_text(drawn, encoding="utf-8")
        print(HERE / name)
