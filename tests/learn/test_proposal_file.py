"""What was proposed for a session, kept; and the same with the minutes that were worked."""

from __future__ import annotations

from pathlib import Path

import pytest

from wearsim.bench.programme import Programme, Spell
from wearsim.bench.toml_io import load_programme, programme_from_table
from wearsim.errors import InputError
from wearsim.learn.mirror_folder import open_folder
from wearsim.learn.proposal_file import keep_proposal, kept_proposal, proposal_file, with_minutes

THREE = Programme(
    spells=(
        Spell(stroke="press", minutes=5.0),
        Spell(stroke="w", length=0.4, side_sweep=0.15, minutes=7.0),
        Spell(stroke="straight", length="4 in", on_top="mirror", minutes=20.0),
    )
)


def test_the_last_proposal_for_a_session_is_kept(mirror_folder: Path, done: Path) -> None:
    keep_proposal(proposal_file(mirror_folder, 1), load_programme(done))
    keep_proposal(proposal_file(mirror_folder, 1), THREE)
    mirror = open_folder(mirror_folder)
    assert kept_proposal(mirror, 1) == THREE
    assert (mirror_folder / "proposal-for-01.toml").read_text().startswith("# Proposed by wearsim for session 1.\n")
    with pytest.raises(InputError, match=r"session 2.*propose.*proposal-for-01\.toml"):
        kept_proposal(mirror, 2)
    keep_proposal(proposal_file(mirror_folder, 2), Programme())
    with pytest.raises(InputError, match="no stroke was proposed"):
        kept_proposal(mirror, 2)


def test_minutes_change_and_nothing_else() -> None:
    changed = with_minutes(THREE, [6, 10, 20], "As proposed")
    assert [spell.minutes for spell in changed.spells] == [6.0, 10.0, 20.0]
    same = [spell.model_copy(update={"minutes": 1.0}) for spell in THREE.spells]
    assert [spell.model_copy(update={"minutes": 1.0}) for spell in changed.spells] == same
    assert changed.text.startswith("# As proposed, minutes as worked: 6,10,20.\n")
    # a pressing may be left out, and a spell that was not worked is none
    assert [spell.minutes for spell in with_minutes(THREE, [10, 18.5], "").spells] == [5.0, 10.0, 18.5]
    assert [spell.stroke for spell in with_minutes(THREE, [0, 7, 0], "").spells] == ["w"]


def test_the_text_keeps_the_units_and_no_more_keys_than_it_had() -> None:
    text = '[[spell]]\nstroke = "straight"\nlength = "4 in"\nminutes = 7\n'
    table = {"spell": [{"stroke": "straight", "length": "4 in", "minutes": 7}]}
    changed = with_minutes(programme_from_table(table, text=text), [8], "done.toml")
    assert changed.text.splitlines()[2:] == ["[[spell]]", 'stroke = "straight"', 'length = "4 in"', "minutes = 8"]


@pytest.mark.parametrize("minutes", [[], [1], [1, 2, 3, 4], [0, 0, 0], [1, -2], [1, float("nan")], [1e6, 1]])
def test_minutes_that_cannot_be(minutes: list[float]) -> None:
    with pytest.raises(InputError) as caught:
        with_minutes(THREE, minutes, "")
    if len(minutes) in (0, 1, 4):
        assert "2 without the cold pressing (planned: cold pressing, 5 min; W, 7 min; straight, 20 min)" in str(
            caught.value
        )
