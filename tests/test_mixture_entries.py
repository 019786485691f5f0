"""A cereal beside the legume, as a grower writes it down: in the file, as records, as rows, and by `add`."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest

from covercrop.base.errors import CovercropError
from covercrop.field.add_field import add_field
from covercrop.field.add_note import add_note
from covercrop.field.entries import CoverEntry, Field, ScoutingNote
from covercrop.field.file import parse_fields, read_fields
from covercrop.field.rows import read_rows
from covercrop.field.typed import entry_of

SOWN = dt.date(2025, 9, 12)
TODAY = dt.date(2026, 5, 20)


def field(cover: str, note: str = "") -> Field:
    """A field of a file in which a cover and a note say so much more."""
    seen = f"[[field.scouting]]\ndate = 2026-05-04\n{note}\n" if note else ""
    text = (
        'today = 2026-05-20\n[[field]]\nname = "A"\nlatitude = 42.4\nlongitude = -76.5\n'
        f'[field.cover]\nspecies = "hairy-vetch"\nsown = 2025-09-12\n{cover}\n[field.crop]\nname = "pumpkin"\n{seen}'
    )
    return parse_fields(Path("f.toml"), text.encode()).fields[0]


@pytest.mark.parametrize(
    ("cover", "companion", "share"),
    [
        ('with = "rye"', "cereal-rye", None),
        ('with = "Cereal rye"\nlegume_percent = 40', "cereal-rye", (40, 40)),
        ('with = "wheat"\nlegume_percent = [30, 50]', "winter-wheat", (30, 50)),
        ('with = "Oats"\nlegume_percent = 99', "oat", (99, 99)),
        ("", None, None),
    ],
)
def test_in_the_field_file(cover: str, companion: str | None, share: tuple[float, float] | None) -> None:
    """The cereal by what growers call it, its share as one number or as a range."""
    entry = field(cover).cover
    assert (entry.companion, entry.legume_percent) == (companion, share)


def test_a_note_of_the_cereal() -> None:
    """It is of a stand that stands, but does not say that the legume lives; a share does."""
    (note,) = field('with = "rye"', "cereal = 61").scouting
    assert (note.cereal, note.legume_percent) == (61, None)
    assert note.of_the_stand
    assert not note.of_the_legume
    assert field('with = "rye"', "legume_percent = 35").scouting[0].of_the_legume


@pytest.mark.parametrize(
    ("cover", "note", "message"),
    [
        ('with = "ry"', "", "unknown companion 'ry'; did you mean barley or rye (cereal-rye)?"),
        ("with = 5", "", "with = 5: name the cereal"),
        ("legume_percent = 40", "", 'legume_percent = 40: has no cereal beside it; name that too, with = "rye"'),
        *(
            (f'with = "rye"\nlegume_percent = {share}', "", f"legume_percent = {said}: give the legume's share")
            for share, said in (("0", "0"), ("100", "100"), ('"much"', "'much'"), ("true", "True"), ("[0, 40]", "0"))
        ),
        ('with = "rye"\nlegume_percent = [50, 30]', "", "legume_percent = [50, 30]: give the lower share first"),
        ('with = "rye"\nlegume_percent = [1, 2, 3]', "", "give the share, or the lowest and the highest"),
        ("", "cereal = 61", "cereal = 61: the field has no cereal beside its legume; add with = "),
        ("", "legume_percent = 35", "the field has no cereal beside its legume; add with = "),
        ('with = "rye"', "cereal = 61.5", "cereal = 61.5: give a Zadoks stage, a whole number from 0 to 99"),
        ('with = "rye"', "cereal = 100", "cereal = 100: give a Zadoks stage"),
        ('with = "rye"', "legume_percent = 0", "legume_percent = 0: give the legume's share"),
    ],
)
def test_what_cannot_be_is_refused_in_a_line(cover: str, note: str, message: str) -> None:
    """It names the place, the value and the way out."""
    with pytest.raises(CovercropError) as refused:
        field(cover, note)
    told = str(refused.value)
    assert told.startswith('f.toml: field 1 "A": ')
    assert message in told
    assert "\n" not in told


def test_a_cereal_alone_is_no_cover() -> None:
    """It is told its place beside a legume."""
    with pytest.raises(CovercropError, match="cereal rye is no legume; name the legume as the species, and the cereal"):
        CoverEntry(species="rye", sown=SOWN)


def test_records_check_themselves() -> None:
    """A single share stands for both ends; what the file refuses, they do."""
    assert CoverEntry(species="hairy-vetch", sown=SOWN, companion="oats", legume_percent=40).legume_percent == (40, 40)  # type: ignore[arg-type]
    with pytest.raises(CovercropError, match="unknown companion 'ray'"):
        CoverEntry(species="hairy-vetch", sown=SOWN, companion="ray")
    with pytest.raises(CovercropError, match="companion = 5: give a text"):
        CoverEntry(species="hairy-vetch", sown=SOWN, companion=5)  # type: ignore[arg-type]
    with pytest.raises(CovercropError, match="legume_percent = 0: give the legume's share"):
        ScoutingNote(date=TODAY, legume_percent=0)
    with pytest.raises(CovercropError, match=r"cereal = 61\.5: give a whole number"):
        ScoutingNote(date=TODAY, cereal=61.5)  # type: ignore[arg-type]


def test_rows_of_a_table() -> None:
    """Columns `with` and `legume_percent`; a range as text, an empty cell for a legume alone."""
    frame = pd.DataFrame(
        {
            "latitude": 42.4,
            "longitude": -76.5,
            "species": "hairy-vetch",
            "sown": "2025-09-12",
            "crop": "pumpkin",
            "with": ["rye", "oats", None, "rye", "rue"],
            "legume_percent": [40, "30-50", None, "lots", None],
        }
    )
    found = [each for _, each in read_rows(frame)]
    assert [(each.cover.companion, each.cover.legume_percent) for each in found if isinstance(each, Field)] == [
        ("cereal-rye", (40, 40)),
        ("oat", (30, 50)),
        (None, None),
    ]
    assert "legume_percent = 'lots': give the legume's share" in str(found[3])
    assert "unknown companion 'rue'" in str(found[4])


def test_added_and_noted(tmp_path: Path) -> None:
    """What is typed is written as the file has it, a range as a list, and the note goes under its field."""
    path = tmp_path / "mine.toml"
    typed = {
        "name": "A",
        "at": "42.4 -76.5",
        "cover": "hairy vetch",
        "with": "Rye",
        "legume_percent": "30 to 50%",
        "sown": "2025-09-12",
        "crop": "pumpkin",
    }
    add_field(path, entry_of(typed, path, us=False), TODAY)
    assert "legume_percent = [30, 50]" in path.read_text()
    add_field(path, entry_of({**typed, "name": "B", "legume_percent": "40"}, path, us=False), TODAY)
    assert "legume_percent = 40\n" in path.read_text()
    add_note(path, "A", {"date": dt.date(2026, 5, 4), "cereal": 51, "legume_percent": 35.0}, TODAY)
    first, second = read_fields(path).fields
    assert (first.cover.legume_percent, second.cover.legume_percent) == ((30, 50), (40, 40))
    assert (first.scouting[0].cereal, first.scouting[0].legume_percent) == (51, 35)
    with pytest.raises(CovercropError, match="legume_percent = 'half': give the legume's share"):
        entry_of({**typed, "legume_percent": "half"}, path, us=False)
