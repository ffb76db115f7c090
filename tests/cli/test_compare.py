"""``wearsim compare`` and what stands behind it: one programme, either piece on top."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import wearsim as ws
from wearsim.decide.compare import Comparison, compare, with_on_top
from wearsim.errors import InputError
from wearsim.show.comparison import radius_and_conic

Call = Callable[..., Any]

SMALL = """
[[spell]]
stroke = "overhang"
length = 0.2
side_overhang = 0.3
minutes = 3
"""


@pytest.fixture
def small_lap(demo: Path) -> Path:
    """A bench with a small lap, and a stroke that the mirror on top of it cannot do."""
    text = Path("bench.toml").read_text()
    head, _, rest = text.partition("[lap]")
    Path("bench.toml").write_text(head + "[lap]" + rest.replace('"300 mm"', '"150 mm"', 1))
    Path("programme.toml").write_text(SMALL)
    return demo


def both_ways(**options: object) -> Comparison:
    return compare(ws.load_bench("bench.toml"), ws.load_programme("programme.toml"), draws=3, **options)


def test_each_side_is_the_programme_with_that_piece_on_top(demo: Path) -> None:
    bench, programme = ws.load_bench("bench.toml"), ws.load_programme("programme.toml")
    both = both_ways(seed=4)
    for side in both.sides:
        assert [s.on_top for s in side.programme.spells] == ["tool", side.on_top, side.on_top]
        assert side.outcome == ws.predict(bench, with_on_top(programme, side.on_top), seed=4, draws=3)
    assert both.tool.outcome is not None and both.mirror.outcome is not None
    assert not np.allclose(both.tool.outcome.removal, both.mirror.outcome.removal)


def test_the_upper_piece_turns_concave(demo: Path) -> None:
    Path("bench.toml").write_text(Path("bench.toml").read_text().replace('profile = "profile.csv"', "conic = -1.0"))
    Path("programme.toml").write_text('[[spell]]\nstroke = "straight"\nlength = 0.5\nminutes = 5\n')
    tool, mirror = (side.outcome for side in both_ways().sides)
    assert tool is not None and mirror is not None
    assert mirror.removal[0] > mirror.removal[-1]
    assert tool.removal[0] / tool.removal[-1] < mirror.removal[0] / mirror.removal[-1]


def test_what_swapping_the_pieces_reverses_is_said_of_this_comparison(demo: Path) -> None:
    both = both_ways()

    def said(*changes: float) -> str:
        outcomes = [
            replace(side, outcome=replace(
                side.outcome, numbers=replace(side.outcome.numbers, conic_fit=side.outcome.numbers_before.conic_fit + one)
            ))
            for side, one in zip(both.sides, changes, strict=True)
        ]  # fmt: skip
        return radius_and_conic(Comparison(*outcomes))

    assert said(0.1, 0.2).endswith("reverses the change in radius of curvature, but not the change in conic constant.")
    assert said(0.1, -0.2).endswith(
        "reverses the change in radius of curvature, and here that in conic constant as well."
    )
    alone = replace(both, mirror=replace(both.mirror, outcome=None))
    assert radius_and_conic(alone) == ""


def test_json_holds_both(call: Call, demo: Path) -> None:
    called = call("compare", "bench.toml", "-p", "programme.toml", "--draws", "3", "--json", "-o", "both.json")
    assert called.code == 0
    answer = json.loads(called.out)
    assert answer == json.loads(Path("both.json").read_text())
    assert answer == json.loads(json.dumps(both_ways().to_json()))
    assert answer["tool"]["surface_rms_before_m"] == answer["mirror"]["surface_rms_before_m"]


def test_table_stands_side_by_side(call: Call, demo: Path) -> None:
    called = call("compare", "bench.toml", "-p", "programme.toml", "--draws", "3")
    lines = called.out.splitlines()
    assert max(map(len, lines)) <= 80 and called.out.isascii()
    both = both_ways()
    place = next(i for i, line in enumerate(lines) if line.startswith("RMS, surface"))
    row = lines[place].split()
    shown = [side.outcome.surface_rms for side in both.sides if side.outcome]
    before = both.sides[0].outcome.numbers_before.surface_rms
    assert row[3:] == [f"{rms * 1e9:.0f}" for rms in (before, *shown)]
    ends = [side.outcome.band.surface_rms * 1e9 for side in both.sides if side.outcome and side.outcome.band]
    assert lines[place + 1].split()[-6:] == [word for a, b in ends for word in (f"{a:.0f}", "to", f"{b:.0f}")]
    assert max(map(len, called.err.splitlines())) <= 80
    assert called.err.splitlines()[-1].startswith("Next: wearsim propose bench.toml")


@pytest.mark.parametrize("options", [[], ["--json"]])
def test_what_one_side_cannot_do_is_its_answer(options: list[str], call: Call, small_lap: Path) -> None:
    called = call("compare", "bench.toml", "-p", "programme.toml", "--draws", "2", "--plot", "c.png", *options)
    assert called.code == 0
    assert (small_lap / "c.png").stat().st_size > 10_000
    if options:
        answer = json.loads(called.out)
        assert answer["mirror"] is None and "beyond the rim" in answer["mirror_refused"]
        assert answer["tool"]["surface_rms_m"] > 0 and "tool_refused" not in answer
    else:
        assert "Mirror on top: cannot be done: spell 1.side_overhang" in called.out


def test_tipping_off_on_one_side_is_its_answer(small_lap: Path) -> None:
    Path("programme.toml").write_text('[[spell]]\nstroke = "straight"\nlength = 0.6\nminutes = 3\n')
    both = both_ways()
    assert both.tool.outcome is not None
    assert both.mirror.outcome is None and "tips off" in both.mirror.refused


def test_where_neither_works_it_is_refused(demo: Path, tipping: Path, call: Call) -> None:
    with pytest.raises(InputError, match="tips off"):
        compare(ws.load_bench("bench.toml"), ws.load_programme(tipping))
    assert call("compare", "bench.toml", "-p", tipping.name).code == 2


def test_a_lap_that_is_not_there_is_refused(demo: Path, call: Call) -> None:
    Path("programme.toml").write_text(SMALL + 'lap = "other"\n')
    called = call("compare", "bench.toml", "-p", "programme.toml")
    assert called.code == 2
    assert "programme.toml: spell 1.lap: the bench has no lap of this name" in called.err
