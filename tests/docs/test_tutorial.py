"""What the tutorial says of its mirror and of what its commands print holds; the build of the documentation runs them."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from cogapp import Cog

import wearsim
from examples.tutorial import make_readings
from tests.cli.test_readme import BLOCK, numbers, skeleton
from wearsim.cli.main import run

ROOT = Path(__file__).parents[2]
TUTORIAL = ROOT / "examples" / "tutorial"
TEXT = (ROOT / "docs" / "tutorial.md").read_text(encoding="utf-8")


@pytest.mark.slow
def test_its_proposal_comes_without_a_warning(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert "There are none here" in TEXT and "wearsim propose shed --minutes 40 " in TEXT
    shed = shutil.copytree(TUTORIAL, tmp_path / "shed")
    assert run(["propose", str(shed), "--minutes", "40"]) == 0
    assert "`shed/proposal-for-01.toml`" in TEXT and (shed / "proposal-for-01.toml").is_file()
    printed = capsys.readouterr()
    assert (printed.out + printed.err).count("Warning: ") == 0


@pytest.mark.slow
def test_it_shows_what_its_commands_print() -> None:
    """Words as they are; numbers, where no search chose them, to a few per cent (other machines round otherwise)."""
    fresh = Cog().process_string(TEXT, "docs/tutorial.md")
    assert BLOCK.sub("", fresh) == BLOCK.sub("", TEXT)
    was, now = (BLOCK.findall(text) for text in (TEXT, fresh))
    assert len(was) == len(now) > 10
    for shown, printed in zip(map(str.splitlines, was), map(str.splitlines, now), strict=True):
        if shown[0].startswith("Proposed: "):
            assert printed[0].startswith("Proposed: ")
            continue
        assert [skeleton(line) for line in printed] == [skeleton(line) for line in shown]
        for new, old in zip(map(numbers, printed), map(numbers, shown), strict=True):
            assert new == pytest.approx(old, rel=0.06, abs=2.5)


def test_pressing_is_recorded_as_the_card_asks() -> None:
    """The card says: not as a spell."""
    assert not any(spell.is_press for spell in wearsim.load_programme(TUTORIAL / "done.toml").spells)
    assert f'--pressed "{make_readings.PRESSED.minutes:g} min"' in TEXT


@pytest.mark.parametrize(("waited", "warns"), [("40 min", True), ("4 h", False)])
def test_too_short_a_wait_is_warned_of(waited: str, warns: bool, capsys: pytest.CaptureFixture[str]) -> None:
    assert 'wearsim reduce shed/readings.toml --bench shed --waited "40 min"' in TEXT
    sheet, bench = str(TUTORIAL / "readings.toml"), str(TUTORIAL / "bench.toml")
    assert run(["reduce", sheet, "--bench", bench, "--waited", waited]) == 0
    said = " ".join(capsys.readouterr().err.split())
    assert ("test about 3 h after" in said) == warns and ("may still be warm enough" in said) == warns


def test_its_readings_are_as_their_script_makes_them(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = tmp_path / "tutorial"
    shutil.copytree(TUTORIAL, desk)
    monkeypatch.setattr(make_readings, "FOLDER", desk)
    make_readings.main()
    for name in ("readings.toml", "after.toml"):
        written, again = (wearsim.load_readings(folder / name) for folder in (TUTORIAL, desk))
        np.testing.assert_allclose(again.positions, written.positions, atol=0.0101e-3)
