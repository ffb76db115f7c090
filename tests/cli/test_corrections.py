"""record: as proposed, with other minutes; and what was recorded wrong, put right."""

from __future__ import annotations

import json
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import tomli_w

from tests.helpers.start_figures import PRESTON_ALONE
from wearsim.bench.toml_io import load_programme
from wearsim.learn.mirror_folder import open_folder

Call = Callable[..., Any]
SHEET = """\
source = "moving"
length_unit = "mm"
windows = [[18, 40], [42, 62], [64, 84], [86, 104], [106, 122], [124, 136], [138, 147]]
readings = [[0.00, 0.23, 0.64, 1.27, 1.95, 2.62, 3.23], [0.04, 0.21, 0.66, 1.25, 1.96, 2.60, 3.25]]
sigma = 0.05
"""
PROPOSAL = """\
[[spell]]
stroke = "press"
minutes = 5

[[spell]]
stroke = "straight"
length = 0.3
minutes = 7

[[spell]]
stroke = "one-third"
minutes = 20
"""


@pytest.fixture
def mirror(demo: Path) -> Path:
    """The demo as a mirror's folder for whose first session something was proposed; two sheets beside it."""
    folder = demo / "mirror"
    folder.mkdir()
    for name in ("bench.toml", "profile.csv"):
        shutil.copy(demo / name, folder / name)
    (folder / "proposal-for-01.toml").write_text(PROPOSAL)
    (demo / "after.toml").write_text(SHEET)
    (demo / "again.toml").write_text(SHEET.replace("3.25", "3.27"))
    return folder


def record(call: Call, *arguments: str) -> Any:
    return call("record", "mirror", *arguments)


def minutes_of(mirror: Path, number: int) -> list[float]:
    return [spell.minutes for spell in open_folder(mirror).sessions[number - 1].programme.spells]


def command_in(text: str) -> list[str]:
    """The command that stands on a line of its own."""
    (line,) = (line for line in text.splitlines() if line.startswith("  wearsim "))
    return shlex.split(line)[1:]


def test_propose_keeps_what_record_takes(mirror: Path, call: Call) -> None:
    (mirror / "proposal-for-01.toml").unlink()
    ask = ("propose", "mirror", "--minutes", "6", "--spells", "1", "--draws", "0", "--time-limit", "0.1")
    proposed = call(*ask, "--json", "-o", "own.toml", "--card", "card.html")
    assert proposed.code == 0, proposed.err
    assert proposed.err.splitlines()[-1] == "Next: wearsim record mirror --as-proposed --readings after.toml"
    kept = load_programme(mirror / "proposal-for-01.toml")
    assert kept.spells and kept == load_programme(Path("own.toml"))
    done = json.loads(record(call, "--as-proposed", "-r", "after.toml", "--json").out)
    assert done["programme"] == json.loads(proposed.out)["programme"]
    # the next session's proposal does not touch it, nor is it taken for that session's
    refused = record(call, "--as-proposed", "-r", "again.toml")
    assert refused.code == 2 and "nothing was proposed for session 2" in refused.err
    assert "proposal-for-01.toml" in refused.err and not (mirror / "02").exists()


def test_a_bench_alone_keeps_no_proposal(demo: Path, call: Call) -> None:
    before = set(demo.rglob("*"))
    ask = ("propose", "bench.toml", "--minutes", "6", "--spells", "1", "--draws", "0", "--time-limit", "0.1")
    assert call(*ask).code == 0
    assert set(demo.rglob("*")) == before


@pytest.mark.parametrize(
    ("arguments", "minutes"),
    [
        (("--as-proposed",), [5, 7, 20]),
        (("--minutes", "10,20"), [5, 10, 20]),
        (("--as-proposed", "--minutes", "6, 10, 20"), [6, 10, 20]),
        (("--minutes", "10,0"), [5, 10]),
        (("--programme", "programme.toml", "--minutes", "3,4.5"), [3, 4.5]),
    ],
)
def test_as_proposed_but_for_the_minutes(
    mirror: Path, call: Call, arguments: tuple[str, ...], minutes: list[float]
) -> None:
    Path("programme.toml").write_text(PROPOSAL.partition("\n\n")[2])
    done = record(call, *arguments, "-r", "after.toml")
    assert done.code == 0, done.err
    assert minutes_of(mirror, 1) == minutes
    for one in minutes:
        assert f": {one:g} min\n" in done.out + "\n"


@pytest.mark.parametrize(
    ("arguments", "fragments"),
    [
        (("-r", "after.toml"), ("--as-proposed", "--programme")),
        (("--as-proposed",), ("--readings", "--profile")),
        (("--as-proposed", "-p", "programme.toml", "-r", "after.toml"), ("--programme", "--as-proposed")),
        (("--minutes", "10", "-r", "after.toml"), ("--minutes", "2 without the cold pressing", "straight, 7 min")),
        (("--minutes", "ten,20", "-r", "after.toml"), ("--minutes", "ten,20", "10,20")),
        (("--minutes", "-1,20", "-r", "after.toml"), ("--minutes",)),
        (("--minutes", "nan,20", "-r", "after.toml"), ("--minutes",)),
        (("--as-proposed", "-r", "after.toml", "--pressed", "ten"), ("--pressed", '"10 min"')),
        (("--as-proposed", "-r", "after.toml", "--pressed", "-1 min"), ("--pressed",)),
        (("--undo",), ("no session is recorded",)),
        (("--undo", "--notes", "x"), ("--undo", "--notes")),
        (("--undo", "--confirm", "1"), ("--undo", "--confirm")),
        (("--replace", "1", "--notes", "x"), ("--replace", "no session is recorded yet")),
        (("--replace", "1"), ("--replace", "--minutes")),
        (("--confirm", "1"), ("--confirm", "no session is recorded yet")),
        (("--restore", "01-set-aside-1"), ("01-set-aside-1", "this folder has none")),
    ],
)
def test_it_refuses_in_one_line_and_writes_nothing(
    mirror: Path, call: Call, arguments: tuple[str, ...], fragments: tuple[str, ...]
) -> None:
    before = {path: path.is_file() and path.read_bytes() for path in mirror.rglob("*")}
    done = record(call, *arguments)
    assert done.code == (1 if arguments == ("--undo",) else 2) and done.out == ""
    (line,) = done.err.strip().splitlines()
    for fragment in fragments:
        assert fragment in line
    assert {path: path.is_file() and path.read_bytes() for path in mirror.rglob("*")} == before


def test_how_long_the_lap_was_pressed(mirror: Path, call: Call) -> None:
    done = json.loads(record(call, "--as-proposed", "-r", "after.toml", "--pressed", "90 s", "--json").out)
    assert done["pressed_s"] == 90.0
    assert open_folder(mirror).sessions[0].note.pressed == 90.0
    assert json.loads(record(call, "--replace", "1", "--pressed", "10 min", "--json").out)["pressed_s"] == 600.0
    (mirror / "01" / "session.toml").write_text("date = 2026-01-01\n")
    assert open_folder(mirror).sessions[0].note.pressed is None


def test_replace_and_what_its_message_names(mirror: Path, call: Call) -> None:
    assert record(call, "--as-proposed", "-r", "after.toml", "--notes", "cold", "--date", "2026-02-03").code == 0
    done = record(call, "--replace", "1", "--minutes", "8,21", "--temperature", "16 degC")
    assert done.code == 0 and "corrected" in done.out
    assert minutes_of(mirror, 1) == [5, 8, 21]
    note = open_folder(mirror).sessions[0].note
    assert (note.notes, note.temperature, note.date.isoformat()) == ("cold", 16.0, "2026-02-03")
    # the proposal again, not what was recorded
    assert record(call, "--replace", "1", "--as-proposed").code == 0
    assert minutes_of(mirror, 1) == [5, 7, 20]
    back = call(*command_in(done.out))
    assert back.code == 0 and "is restored" in back.out
    answer = json.loads(record(call, "--replace", "1", "-r", "again.toml", "--json").out)
    assert answer["kept"].startswith("mirror/01/earlier-") and answer["number"] == 1
    assert (mirror / "01" / "readings.toml").read_text() == Path("again.toml").read_text()


def test_undo_does_not_point_to_a_proposal_of_nothing(mirror: Path, call: Call) -> None:
    assert record(call, "--as-proposed", "-r", "after.toml", "--date", "2026-02-03").code == 0
    Path("mirror/proposal-for-01.toml").write_text("# nothing to do\n")
    done = record(call, "--undo")
    assert "--programme done.toml --readings after.toml" in done.err and "--as-proposed" not in done.err


def test_undo_and_the_command_that_undoes_it(mirror: Path, call: Call) -> None:
    assert record(call, "--as-proposed", "-r", "after.toml", "--date", "2026-02-03").code == 0
    done = record(call, "--undo", "-o", "undone.json")
    assert done.code == 0 and "set aside" in done.out and not (mirror / "01").exists()
    assert json.loads(Path("undone.json").read_text()) == {
        "number": 1, "date": "2026-02-03", "kept": "mirror/01-set-aside-1",
    }  # fmt: skip
    assert done.err.splitlines()[-1] == "Next: wearsim record mirror --as-proposed --readings after.toml"
    assert call(*command_in(done.out)).code == 0
    assert minutes_of(mirror, 1) == [5, 7, 20]


def test_history_shows_what_was_corrected_set_aside_and_confirmed(mirror: Path, call: Call) -> None:
    with (mirror / "bench.toml").open("a") as stream:  # so that it is calibrated soon
        stream.write(tomli_w.dumps({"spread": PRESTON_ALONE}))
    assert record(call, "--as-proposed", "-r", "after.toml", "--date", "2026-02-03").code == 0
    assert record(call, "--replace", "1", "--minutes", "8,21").code == 0
    confirmed = json.loads(record(call, "--confirm", "1", "--json").out)
    assert confirmed["confirmed"] is True and confirmed["worked_s"] == 60.0 * 29
    arguments = ("--programme", "mirror/proposal-for-01.toml", "-r", "again.toml", "--date", "2026-02-04")
    assert record(call, *arguments).code == 0
    assert record(call, "--undo").code == 0
    said = call("history", "mirror", "-o", "history.json")
    assert said.code == 0, said.err
    text = " ".join(said.out.split())
    assert "corrected; the earlier record is in 01/earlier-1; confirmed as recorded." in text
    assert "2: set aside (2026-02-04, 27 minutes of work); kept in 02-set-aside-1." in text
    assert "wearsim record FOLDER --restore NAME" in text
    told = json.loads(Path("history.json").read_text())
    assert told["set_aside"] == [
        {"number": 2, "folder": "02-set-aside-1", "date": "2026-02-04", "worked_s": 60.0 * 27}
    ]  # fmt: skip
    (entry,) = told["sessions"]
    assert entry["earlier"] == ["01/earlier-1"] and entry["confirmed"] is True


def test_help_begins_with_an_example_and_names_every_correction(call: Call) -> None:
    said = call("record", "--help")
    assert said.out.startswith("Example:\n  wearsim record my-mirror --as-proposed --readings after.toml\n")
    for flag in ("--minutes", "--pressed", "--replace", "--undo", "--restore", "--confirm"):
        assert f"  {flag}" in said.out
