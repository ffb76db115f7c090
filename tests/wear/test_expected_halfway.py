"""The readings halfway through a long spell."""

from __future__ import annotations

import numpy as np

import wearsim as ws
from tests.helpers.small_bench import ring_figure, small_bench
from wearsim.bench.programme import Programme, Spell
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.expected_readings import halved, is_long, readings_after, usual_sheet, with_halfway
from wearsim.wear.predict import predict

TURN = 1.2


def _spell(minutes: float, stroke: str = "one-third", **more: object) -> Spell:
    return ws.Spell.model_validate({"stroke": stroke, "minutes": minutes, **more})


def test_a_programme_is_cut_in_the_middle_of_its_last_long_spell() -> None:
    spells = (_spell(30.0, turn=TURN), _spell(5.0), _spell(60.0, "press"), _spell(24.0), _spell(20.0))
    assert [is_long(spell) for spell in spells] == [True, False, False, True, False]
    part, middles = halved(Programme(spells=spells))
    assert [spell.minutes for spell in part.spells] == [15.0, 15.0, 5.0, 60.0, 12.0]
    assert [spell.turn for spell in part.spells[:2]] == [TURN, 0.0]
    assert middles == {1: 1, 4: 5}
    assert halved(Programme(spells=spells[1:3])) == (Programme(), {})


def test_halfway_through_a_long_spell_is_the_end_of_one_half_as_long() -> None:
    bench = small_bench(True)
    start, sheet = ring_figure(bench, DEFAULT), usual_sheet(bench)
    assert sheet is not None
    whole = Programme(spells=(_spell(4.0), _spell(24.0)))
    half = Programme(spells=(_spell(4.0), _spell(12.0)))
    there = predict(bench, half, draws=4, seed=3, start=start)
    found = readings_after(bench, predict(bench, whole, draws=0, start=start), sheet)
    assert found.halfway == {}
    known = with_halfway(found, bench, whole, draws=4, seed=3, start=start).halfway[2]
    expected = readings_after(bench, there, sheet).after
    assert np.allclose(known.positions, expected.positions, rtol=0.0, atol=1e-9)
    assert np.allclose(known.setting, expected.setting)
    assert np.all(known.sigma[1:] > 0.0) and known.sigma[0] == 0.0
    certain = with_halfway(found, bench, whole, draws=0, start=start).halfway[2]
    assert np.array_equal(certain.positions, known.positions) and not certain.sigma.any()
    short = with_halfway(found, bench, half, draws=4, start=start)
    assert short is found
