"""A note is added to a field file whole or not at all, and nothing else in it changes."""

from __future__ import annotations

import datetime as dt
import os
import stat
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import tomlkit
from filelock import FileLock
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from covercrop.base.errors import FieldFileError, UnknownNameError
from covercrop.field import add_note as field_notes
from covercrop.field import rewriting
from covercrop.field.add_note import add_note
from covercrop.field.entries import ScoutingNote
from covercrop.field.file import read_fields

REPOSITORY = Path(__file__).resolve().parent.parent
TODAY = dt.date(2026, 6, 1)
NOTE = {"date": dt.date(2026, 5, 4), "bloom_percent": 5}

MILL = """\
# Kept by hand since 2019.   Do not sort!
[[field]]
name = "Mill terrace"   # above the weir
latitude  =  37.80
longitude = -84.10

[field.cover]
species = "hairy-vetch"
sown = 2025-09-12
# turned_under = 2026-05-19
"""
CROP = """\
[field.crop]
name = "pumpkin"
"""
SCOUTED = """\
[[field.scouting]]
date = 2026-04-30
bbch = 55
note = '''not
[[field]]
# yet'''
"""
SECOND = MILL.replace("Mill terrace", "Long acre").replace(
    "# Kept by hand since 2019.   Do not sort!", "# The wet one."
)


def fields(*parts: str) -> str:
    return "\n".join(parts)


LAYOUTS = {
    "one field": fields(MILL, CROP),
    "no final newline": fields(MILL, CROP).rstrip("\n"),
    "blank lines at the end": fields(MILL, CROP) + "\n\n\n",
    "another field after it": fields(MILL, CROP, SECOND, CROP),
    "no blank line before the next": fields(MILL, CROP) + SECOND + CROP,
    "the crop after the notes": fields(MILL, SCOUTED, CROP, SECOND, CROP),
    "notes with a header inside their text": fields(MILL, CROP, SCOUTED, SECOND, CROP, SCOUTED),
    "a comment at the end": fields(MILL, CROP) + "# planted = 2026-06-12\n",
    "an inline cover": '[[ field ]]\nname="Mill terrace"\nlatitude=1\nlongitude=1\ncover={species="hairy-vetch",'
    'sown=2025-09-12}\ncrop={name="pumpkin"}',
    "dotted keys": '[["field"]]\nname="Mill terrace"\nlatitude=1\nlongitude=1\ncover.species="hairy-vetch"\n'
    'cover.sown=2025-09-12\ncrop.name="pumpkin"\n',
    "a fixed day": f"today = 2026-06-01\n\n{fields(MILL, CROP)}",
}


def names(folder: Path) -> list[str]:
    """What lies in a folder, hidden files too."""
    return sorted(each.name for each in folder.iterdir())


@pytest.fixture
def path(tmp_path: Path) -> Path:
    place = tmp_path / "fields.toml"
    place.write_text(LAYOUTS["another field after it"], encoding="utf-8")
    return place


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("form", ["plain", "windows", "marked"])
def test_all_but_the_note_stays_as_it_was(tmp_path: Path, layout: str, form: str) -> None:
    """Byte for byte, the old file is what is left when the new lines are taken out; the note is read back."""
    text = LAYOUTS[layout].replace("\n", "\r\n") if form == "windows" else LAYOUTS[layout]
    old = (b"\xef\xbb\xbf" if form == "marked" else b"") + text.encode()
    path = tmp_path / "fields.toml"
    path.write_bytes(old)
    before = read_fields(path).fields[0].scouting
    field, note = add_note(path, "Mill terrace", {**NOTE, "note": 'first "open"\\ here\t\x7f'}, TODAY)
    new = path.read_bytes()
    assert note == ScoutingNote(date=NOTE["date"], bloom_percent=5.0, note='first "open"\\ here\t\x7f')
    assert field.scouting == read_fields(path).fields[0].scouting == (*before, note)
    at = next(place for place in range(len(old) + 1) if new[: place + 1] != old[: place + 1])
    added = len(new) - len(old)
    assert any(new[:cut] + new[cut + added :] == old for cut in range(max(0, at - 4), at + 1))
    if form == "windows":
        assert new.count(b"\n") == new.count(b"\r\n")
    # A second parser, which keeps every blank, reads the same notes.
    lines = new.decode("utf-8-sig").replace("\r\n", "\n")
    kept = tomlkit.parse(lines).unwrap()
    assert kept == tomllib.loads(lines)
    assert kept["field"][0]["scouting"][-1]["bloom_percent"] == 5


def test_the_note_stands_at_the_end_of_its_field(path: Path) -> None:
    """Before the blank line and the comment of the next field, with a blank line before it and the stage in words."""
    add_note(path, "mill TERRACE", {"date": dt.date(2026, 5, 4), "bbch": 55, "soil_c": 14.5}, TODAY)
    wanted = "\n[[field.scouting]]\ndate = 2026-05-04\nbbch = 55  # flower buds all over, none open\nsoil_c = 14.5\n"
    assert f'name = "pumpkin"\n{wanted}\n# The wet one.\n[[field]]' in path.read_text(encoding="utf-8")


@given(texts=st.lists(st.text(st.characters(exclude_categories=["Cs"]), min_size=1).filter(str.strip), max_size=4))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
def test_any_words_are_read_back(path: Path, texts: list[str]) -> None:
    """Quotes, brackets, ends of lines, control characters: what is noted is what is read."""
    path.write_text(LAYOUTS["another field after it"], encoding="utf-8")
    for number, text in enumerate(texts):
        entry = {"date": dt.date(2026, 5, 4) + dt.timedelta(days=number), "bloom_percent": 5, "note": text}
        add_note(path, "Mill terrace", entry, TODAY)
    assert [note.note for note in read_fields(path).fields[0].scouting] == texts


@pytest.mark.parametrize(
    ("entry", "message"),
    [
        ({"date": dt.date(2026, 6, 2), "bbch": 60}, "scouting date = 2026-06-02 is after 2026-06-01, today"),
        ({"date": dt.date(2025, 9, 12), "bbch": 60}, "date = 2025-09-12: is not after sowing on 2025-09-12"),
        ({"date": TODAY, "bloom_percent": 105}, "bloom_percent = 105: give 0 to 100"),
        ({"date": TODAY, "bloom_percent": float("nan")}, "bloom_percent = nan: give a number"),
        ({"date": TODAY, "soil_c": 58}, r"soil_c = 58: give the soil in degC, -20 to 45; in degF it is soil_f"),
        ({"date": TODAY, "height_cm": 0}, "height_cm = 0: give the height in cm, 1 to 300"),
        ({"date": TODAY, "dry_matter_kg_ha": 3.2}, "dry_matter_kg_ha = 3.2: give the dry weight in kg/ha"),
        ({"date": TODAY, "nitrogen_percent": 31}, "nitrogen_percent = 31: give % N of the dry weight"),
        ({"date": TODAY, "bloom_percent": 5, "note": " "}, "note = ' ': write some words"),
        ({"date": TODAY, "bloom_percent": 5, "note": "\udce9"}, "the words of the note are not text"),
        ({"date": TODAY, "note": "nothing"}, "scouting 1: give bloom_percent or bbch, or what was measured: soil_c"),
    ],
)
def test_a_wrong_note_changes_nothing(path: Path, entry: dict, message: str) -> None:
    """What cannot be is refused in one line, and neither the file nor its folder has changed."""
    before = path.read_bytes(), path.stat().st_mtime_ns
    with pytest.raises(FieldFileError, match=message) as caught:
        add_note(path, "Mill terrace", entry, TODAY)
    assert "\n" not in str(caught.value)
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before
    assert names(path.parent) == ["fields.toml"]


def test_the_same_note_twice(path: Path) -> None:
    """It is there already, also in other units; a note of the same day that says more is another one."""
    add_note(path, "Mill terrace", {"date": TODAY, "soil_c": 15}, TODAY)
    before = path.read_bytes()
    for entry in ({"date": TODAY, "soil_c": 15.0}, {"date": TODAY, "soil_f": 59}):
        with pytest.raises(FieldFileError, match="this note of 2026-06-01 is there already; nothing to add"):
            add_note(path, "Mill terrace", entry, TODAY)
    assert path.read_bytes() == before
    add_note(path, "Mill terrace", {"date": TODAY, "soil_c": 15, "bbch": 60}, TODAY)
    assert len(read_fields(path).fields[0].scouting) == 2


def test_no_such_field(path: Path) -> None:
    """Near names are offered."""
    with pytest.raises(UnknownNameError, match="unknown field 'Mil terrace'; did you mean Mill terrace"):
        add_note(path, "Mil terrace", NOTE, TODAY)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (fields(MILL, CROP).replace("longitude", "scouting = [{date=2026-05-01, bbch=55}]\nlongitude"), "is a list"),
        (fields(MILL, CROP).replace("longitude", "scouting = []\nlongitude"), "is a list, to which no note can be"),
        (
            'field=[{name="Mill terrace",latitude=1,longitude=1,cover={species="hairy-vetch",sown=2025-09-12},'
            'crop={name="pumpkin"}}]\n',
            r"has no place for a note; begin each field with a line \[\[field\]\]",
        ),
        (fields(MILL, CROP).replace("hairy-vetch", "hairy-vech"), "unknown cover 'hairy-vech'; did you mean"),
        (fields(MILL, CROP).replace("2025-09-12", "2026-09-12"), "sown = 2026-09-12 is after 2026-06-01, today"),
        (fields(MILL, CROP).replace("# turned_under", "turned_under"), "is after turning under on 2026-05-19"),
        ("[[field", "not TOML"),
    ],
)
def test_a_file_that_takes_no_note(path: Path, text: str, message: str) -> None:
    """Notes in one line, fields in one line and files that are not sound are refused and left as they are."""
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FieldFileError, match=message):
        add_note(path, "Mill terrace", {"date": dt.date(2026, 5, 25), "bbch": 60}, TODAY)
    assert path.read_text(encoding="utf-8") == text
    assert names(path.parent) == ["fields.toml"]


def test_the_soil_may_be_read_after_turning_under(path: Path) -> None:
    """Once the cover is under its stage is no more, but a thermometer still tells."""
    path.write_text(fields(MILL, CROP).replace("# turned_under", "turned_under"), encoding="utf-8")
    _, note = add_note(path, "Mill terrace", {"date": dt.date(2026, 5, 25), "soil_f": 64.4}, TODAY)
    assert note.soil_c == pytest.approx(18.0)


def test_permissions_and_links_stay(path: Path, tmp_path: Path) -> None:
    """The file keeps its mode; a link goes on leading to it, from another folder too."""
    path.chmod(0o640)
    (tmp_path / "elsewhere").mkdir()
    link = tmp_path / "elsewhere" / "mine.toml"
    link.symlink_to(path)
    add_note(link, "Mill terrace", NOTE, TODAY)
    assert link.is_symlink()
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert len(read_fields(path).fields[0].scouting) == 1
    assert names(tmp_path) == ["elsewhere", "fields.toml"]
    assert names(tmp_path / "elsewhere") == ["mine.toml"]


def test_a_file_that_may_not_be_written(path: Path, tmp_path: Path) -> None:
    """Read-only, missing, a folder: a line each."""
    path.chmod(0o444)
    with pytest.raises(FieldFileError, match="is read-only; allow writing to it"):
        add_note(path, "Mill terrace", NOTE, TODAY)
    with pytest.raises(FieldFileError, match="no such file"):
        add_note(tmp_path / "none.toml", "Mill terrace", NOTE, TODAY)
    with pytest.raises(FieldFileError, match="is a folder"):
        add_note(tmp_path, "Mill terrace", NOTE, TODAY)


def test_a_disk_that_is_full(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """If the new file cannot be made safe, the old one stays and nothing is left beside it."""
    before = path.read_bytes()

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(FieldFileError, match=r"cannot be written \(No space left on device\)"):
        add_note(path, "Mill terrace", NOTE, TODAY)
    assert path.read_bytes() == before
    assert names(path.parent) == ["fields.toml"]


def test_an_editor_that_saves_meanwhile_wins(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A program that knows nothing of the lock has saved in between: its text stays, and the line says so."""
    parse = field_notes.parse_fields
    edited = path.read_text(encoding="utf-8") + "\n# saved by an editor\n"

    def slow(*arguments):
        path.write_text(edited, encoding="utf-8")
        return parse(*arguments)

    monkeypatch.setattr(field_notes, "parse_fields", slow)
    with pytest.raises(FieldFileError, match="was changed by another program just now; nothing was written, try again"):
        add_note(path, "Mill terrace", NOTE, TODAY)
    assert path.read_text(encoding="utf-8") == edited


def test_a_writer_that_does_not_end(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The wait for another writer has an end, and a lock file that nobody holds is no obstacle."""
    monkeypatch.setattr(rewriting, "PATIENCE", 0.2)
    lock = path.with_name(".fields.toml.lock")
    with (
        FileLock(lock),
        pytest.raises(FieldFileError, match="another program has been writing to it for 0 seconds; try again"),
    ):
        add_note(path, "Mill terrace", NOTE, TODAY)
    lock.touch()
    path.with_name(".fields.toml.part").write_text("left by a crash", encoding="utf-8")
    add_note(path, "Mill terrace", NOTE, TODAY)
    assert names(path.parent) == ["fields.toml"]


def start(*arguments: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, *arguments],
        cwd=REPOSITORY,
        env={**os.environ, "PYTHONPATH": str(REPOSITORY)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def told(process: subprocess.Popen[str]) -> str:
    """What a process that ended well has printed."""
    try:
        output, error = process.communicate(timeout=120)
    except subprocess.TimeoutExpired:
        process.kill()
        output, error = process.communicate()
    assert process.returncode == 0, error
    return output


def test_eight_writers_lose_nothing(path: Path) -> None:
    """Eight processes with four notes each leave thirty-two notes and the old file around them."""
    before = path.read_bytes()
    script = (
        "import datetime as dt, sys; from pathlib import Path; from covercrop.field.add_note import add_note\n"
        "for k in range(4):\n"
        "    add_note(Path(sys.argv[1]), 'Long acre', {'date': dt.date(2026, 5, 1 + k), 'bloom_percent': 1,"
        " 'note': sys.argv[2]}, dt.date(2026, 6, 1))\n"
    )
    writers = [start("-c", script, str(path), f"writer {number}") for number in range(8)]
    for writer in writers:
        told(writer)
    first, second = read_fields(path).fields
    assert first.scouting == ()
    assert {(note.note, note.date.day) for note in second.scouting} == {
        (f"writer {number}", 1 + k) for number in range(8) for k in range(4)
    }
    assert path.read_bytes().startswith(before.rstrip(b"\n"))
    assert names(path.parent) == ["fields.toml"]


def test_two_commands_at_once(path: Path) -> None:
    """The command itself, twice at the same time."""
    runs = [
        start("-m", "covercrop", "scout", str(path), name, "--bloom", "5", "--on", "2026-05-04")
        for name in ("Mill terrace", "Long acre")
    ]
    for run in runs:
        told(run)
    assert [len(field.scouting) for field in read_fields(path).fields] == [1, 1]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="children that die are forked")
def test_a_crash_at_any_step_leaves_the_old_file_or_the_new(path: Path) -> None:
    """A process that dies at each line of the writing in turn: the file is always one of the two, whole."""
    script = str(REPOSITORY / "tests" / "crash_while_noting.py")
    assert int(told(start(script, "steps", str(path)))) > 80


@pytest.mark.skipif(not hasattr(os, "fork"), reason="children that die are forked")
def test_a_kill_at_any_moment_leaves_a_whole_file(path: Path) -> None:
    """Writers that are killed without warning, forty times over: the file is whole and goes on taking notes."""
    script = str(REPOSITORY / "tests" / "crash_while_noting.py")
    assert int(told(start(script, "killed", str(path), "40"))) > 0
    add_note(path, "Long acre", NOTE, TODAY)
    assert names(path.parent) == ["fields.toml"]
