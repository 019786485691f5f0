"""The cereals beside a legume: at the command line, and by the front door."""

from __future__ import annotations

import json
from collections.abc import Callable

import covercrop
from covercrop.parameters.companions import cover_or_companion

Run = Callable[..., tuple[int, str, str]]


def test_covers_lists_the_cereals_with_their_numbers(run: Run) -> None:
    """In a table of their own, in both units; JSON keeps them apart from the legumes."""
    _, screen, _ = run("covers")
    _, _, beside = screen.partition("Cereals beside them")
    rye = covercrop.companion("rye")
    line = next(line for line in beside.splitlines() if line.startswith("cereal-rye"))
    assert line.split() == ["cereal-rye", "0", "-24", "°C", f"{rye.sowing.beside.value:.0f}", "90", "14", "|", "24"]
    assert "0 °F" in run("covers", "--units", "us")[1]
    told = json.loads(run("covers", "--json")[1])
    assert [each["key"] for each in told["companions"]] == [each.key for each in covercrop.companions()]
    assert [each["key"] for each in told["records"]] == [each.key for each in covercrop.covers()]


def test_a_region_refuses_a_cereal_in_a_line(run: Run) -> None:
    """Before it looks at the grid, and it says why."""
    asked = ("--cover", "hairy-vetch", "--sown", "09-15", "--crop", "pumpkin")
    status, _, messages = run("region", "none.nc", "-o", "out.nc", *asked, "--with", "rye")
    assert (status, messages.count("\n")) == (1, 1)
    assert "--with rye: a region is worked out for the legume alone, since nobody has judged the share" in messages


def test_one_cereal_by_its_name(run: Run) -> None:
    """Every number with its source or its reason; an unknown name is near both kinds."""
    _, screen, _ = run("covers", "Oats")
    assert screen.startswith("oats (Avena sativa)")
    assert "assumed: no LT50 of oat was found" in " ".join(screen.split())
    assert json.loads(run("covers", "rye", "--json")[1])["records"][0]["key"] == "cereal-rye"
    status, _, messages = run("covers", "triticle")
    assert (status, messages.count("\n")) == (1, 1)
    assert "did you mean triticale" in messages
    assert "hairy-vetch" in run("covers", "hairy-vech")[2]
    assert cover_or_companion("lana vetch").key == "woollypod-vetch"
