"""The repertoire: strokes that are practised by hand, in one table with its reasons.

Everything else that the mechanics allows is there with ``repertoire = "any"``. The numbers are common practice where the
reason says so, and judgements otherwise; none has a source that could be named.
"""

from __future__ import annotations

from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass
from itertools import product

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.lap import Lap
from wearsim.bench.programme import Spell
from wearsim.bench.units import INCHES, length_unit
from wearsim.decide.coarse_engine import CoarseEngine, PlannedSpell
from wearsim.decide.limits import ANY, Limits
from wearsim.decide.stroke_library import Reach, StrokeSpec, is_within_reach
from wearsim.errors import ContactError
from wearsim.kernels.arrays import Floats
from wearsim.parallel import in_threads
from wearsim.wear.radial.engine import tipping_offset
from wearsim.wear.state import State

LARGE_LAP = 0.9
"""A lap of so much of the mirror's diameter or more is worked as one as large as the mirror [1]."""
SHORTEST, SHORTEST_ON_LAP = 0.2, 0.3
"""Shortest strokes: with a lap as large as the mirror in diameters of the mirror, with a smaller one of the lap [1]. Shorter
ones leave the print of the lap's facets (common practice)."""
LONGEST_ON_LAP = 1.0
"""Longest strokes with a smaller lap, in its own diameters [1] (common practice)."""
FARTHEST_HUNG = 0.2
"""Overhang beyond this, in diameters of the mirror, only with the tool on top or a smaller lap [1]: a mirror that hangs so
far cannot be held safely."""
SAID_TO_DEEPEN = 0.45
"""Strokes of this share of the diameter with the mirror on top are said to deepen it [1] (common practice, no source)."""
MOST_LIFTED, MORE = 0.2, 2.0
"""Share of the overlap that carries nothing beyond which a stroke is not done; where even the gentlest stroke with this
piece and lap lifts or presses more than it should, so many times what that does [1]. Judgements."""
LOOKED_AT = 6.0
"""Minutes of a stroke that are looked at [min]."""
SMALL_MIRROR = 0.2
"""Below this diameter sizes go in half steps [m]."""


LONG = (0.85, 16.0)
"""Reach and pressure of the long strokes that deepen a mirror: four fifths of the diameter are common practice, and no
shorter stroke makes a paraboloid with a lap as large as the mirror."""


@dataclass(frozen=True)
class CommonStroke:
    """One kind of stroke as it is practised with a lap as large as the mirror, sizes in diameters of the mirror [1].

    Parameters
    ----------
    kind : str
        As in :data:`wearsim.bench.programme.STROKES`.
    lengths, sweeps, overhangs : (float, float)
        Least and most.
    reason : str
    farthest : float
        How far it is meant to reach at most, as a share of the offset at which the top piece tips off [1].
    pressed : float
        Largest pressure over the mean one, over the strokes as hands vary them [1].
    """

    kind: str
    lengths: tuple[float, float]
    sweeps: tuple[float, float]
    overhangs: tuple[float, float]
    reason: str
    farthest: float = 0.65
    pressed: float = 8.0


NONE = (0.0, 0.0)
REPERTOIRE = (
    CommonStroke(
        "straight", (SHORTEST, 0.5), NONE, NONE, "centre over centre, the general-purpose stroke (common practice)"
    ),
    CommonStroke("one-third", (1 / 3, 1 / 3), NONE, NONE, "the stroke that keeps a sphere (common practice)"),
    CommonStroke(
        "overhang", (SHORTEST, 0.5), NONE, (0.05, 0.35), "along a chord, the lap's edge on a zone (common practice)"
    ),
    CommonStroke("w", (0.25, 0.5), (0.05, 0.25), (0.0, 0.2), "wide, blends zones (common practice)"),
    CommonStroke(
        "oval", (0.25, 0.5), (0.05, 0.2), (0.0, 0.2), "evens out what straight strokes leave (common practice)"
    ),
    CommonStroke("straight", (0.5, 0.75), NONE, NONE, "long, deepens the middle (common practice)", *LONG),
    CommonStroke("w", (0.5, 0.75), (0.1, 0.25), NONE, "long and wide, makes a paraboloid (common practice)", *LONG),
)
"""What hands do. A W advances by a tenth of its length per stroke or more; an oval is longer than it is wide."""

_LEAST_SWEEP = 0.2
# Lengths of the first look, and steps of sweep and overhang, in diameters; sizes between them are found from there.
_LOOK, _LOOK_ASIDE, _LOOK_OFF = 0.1, 0.1, 0.1
_SLACK = 1e-3


def size_step(bench: Bench) -> float:
    """Steps of sizes that a hand can keep, in diameters [1]: 10 mm or half an inch, half of it below 200 mm."""
    step = 12.7e-3 if length_unit(bench) is INCHES else 10e-3
    diameter = bench.mirror.diameter
    return (step if diameter >= SMALL_MIRROR else 0.5 * step) / diameter


def rows_of(stroke: StrokeSpec, bench: Bench) -> list[CommonStroke]:
    """The rows of the table that a stroke is of; none where hands do not do it."""
    return [row for row in REPERTOIRE if row.kind == stroke.kind and _is_of(row, stroke, bench)]


def _is_of(row: CommonStroke, stroke: StrokeSpec, bench: Bench) -> bool:
    return next(_outside(row, stroke, bench), None) is None


def _outside(row: CommonStroke, stroke: StrokeSpec, bench: Bench) -> Iterator[str]:
    """What of a stroke is outside a row of its kind, each in words."""
    lap, diameter = bench.lap(stroke.lap), bench.mirror.diameter
    lengths, overhangs = _limits_of(row, stroke.on_top, lap.diameter / diameter)
    for size, (least, most), words in (
        (stroke.overhang, overhangs, f"off centre with the {stroke.on_top} on top"),
        (stroke.length, lengths, "long"),
        (stroke.sweep, row.sweeps, "to each side"),
    ):
        if not _within(size, least, most):
            limit = f"at most {most:.2g}" if size > most else f"at least {least:.2g}"
            yield f"{size:.2g} D {words} ({limit} D)"
    farthest = row.farthest * tipping_offset(bench, lap, stroke.on_top) / diameter
    reach = float(np.hypot(0.5 * stroke.length, stroke.sweep + stroke.overhang))
    if reach > farthest + _SLACK:
        yield f"reaching {reach:.2g} D off centre (at most {farthest:.2g} D)"
    if row.sweeps != NONE and stroke.sweep < _LEAST_SWEEP * stroke.length * (1.0 - _SLACK):
        yield f"{stroke.sweep:.2g} D to each side (at least {_LEAST_SWEEP * stroke.length:.2g} D at this length)"
    if stroke.kind == "oval" and 2.0 * stroke.sweep > stroke.length * (1.0 + _SLACK):
        yield "wider than it is long"


def why_uncommon(spell: Spell, bench: Bench) -> str:
    """What puts a spell outside the common strokes, by the row nearest to it; empty where nothing does."""
    if spell.is_press:
        return ""
    diameter = bench.mirror.diameter
    path = spell.stroke_on(diameter)
    sizes = (one / diameter for one in (path.length, path.side_sweep, path.side_overhang))
    stroke = StrokeSpec(spell.on_top, spell.lap, spell.stroke, *sizes)
    rows = [list(_outside(row, stroke, bench)) for row in REPERTOIRE if row.kind == stroke.kind]
    nearest: list[str] = min(rows, key=len)
    return nearest[0] if nearest else ""


def is_said_to_deepen(spell: Spell, bench: Bench) -> bool:
    """Whether a spell is a long stroke, the mirror on a lap of about its own size: commonly said to deepen the mirror."""
    if spell.is_press or spell.on_top != "mirror" or spell.stroke not in ("straight", "w"):
        return False
    diameter = bench.mirror.diameter
    is_long = spell.stroke_on(diameter).length >= SAID_TO_DEEPEN * diameter
    return is_long and bench.lap(spell.lap).diameter >= LARGE_LAP * diameter


def common_words(bench: Bench, limits: Limits) -> str:
    """How long common strokes are on a bench and how far off centre, in words."""
    pieces, diameter = limits.settled(bench).pieces, bench.mirror.diameter
    found = {
        on_top: [_limits_of(row, on_top, lap.diameter / diameter) for row in REPERTOIRE for lap in bench.laps]
        for on_top in pieces
    }
    lengths = [end for rows in found.values() for row in rows for end in row[0] if np.isfinite(end)]
    hung = (f"{max(row[1][1] for row in rows):.2g} D with the {on_top} on top" for on_top, rows in found.items())
    return f"{min(lengths):.2g} to {max(lengths):.2g} D long, and off centre by at most {' or '.join(hung)}"


def _limits_of(row: CommonStroke, on_top: str, share: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Lengths and overhangs of a row with a lap of this share of the mirror."""
    if share >= LARGE_LAP:
        most = min(row.overhangs[1], FARTHEST_HUNG) if on_top == "mirror" else row.overhangs[1]
        return row.lengths, (row.overhangs[0], most)
    if row.kind == "one-third" or row.pressed == LONG[1]:
        return (np.inf, np.inf), NONE
    return (SHORTEST_ON_LAP * share, LONGEST_ON_LAP * share), (row.overhangs[0], 0.5 if row.overhangs != NONE else 0.0)


def _within(value: float, least: float, most: float) -> bool:
    return least * (1.0 - 1e-2) - _SLACK <= value <= most * (1.0 + 1e-2) + _SLACK


def is_allowed(stroke: StrokeSpec, bench: Bench, limits: Limits) -> bool:
    """Whether a stroke is of the repertoire and keeps off tipping, the hands' spread included; a pressing does."""
    reach = Reach(bench, limits, stroke.on_top, stroke.lap)
    return is_within_reach(stroke, reach) and (
        stroke.is_press or limits.repertoire == ANY or bool(rows_of(stroke, bench))
    )


def common_strokes(bench: Bench, limits: Limits) -> tuple[StrokeSpec, ...]:
    """Those of the repertoire within reach in sizes of whole steps, a coarse choice: a search goes on from these."""
    step = size_step(bench)
    found = dict.fromkeys(
        stroke
        for lap in bench.laps
        for on_top in limits.settled(bench).pieces
        for stroke in _of_lap(bench, lap, on_top, step)
        if rows_of(stroke, bench) and is_within_reach(stroke, Reach(bench, limits, on_top, lap.name))
    )
    return tuple(found)


def _of_lap(bench: Bench, lap: Lap, on_top: str, step: float) -> Iterator[StrokeSpec]:
    for row in REPERTOIRE:
        lengths, overhangs = _limits_of(row, on_top, lap.diameter / bench.mirror.diameter)
        if row.kind == "one-third":
            yield StrokeSpec(on_top, lap.name, row.kind, 1 / 3)
        elif np.isfinite(lengths[0]):
            off = _steps(*overhangs, _LOOK_OFF, step)
            room = (row.farthest * tipping_offset(bench, lap, on_top) / bench.mirror.diameter) ** 2 - (
                0.5 * lengths[0]
            ) ** 2
            farthest = min(overhangs[1], float(np.sqrt(max(room, 0.0))) - row.sweeps[0])
            if farthest > 0.0:  # as far as the shortest may reach
                off = sorted({*off, round(step * float(np.floor(farthest / step + 1e-2)), 4)})
            sizes = _steps(*lengths, _LOOK, step), _steps(*row.sweeps, _LOOK_ASIDE, step), off
            yield from (StrokeSpec(on_top, lap.name, row.kind, *one) for one in product(*sizes))


def _steps(least: float, most: float, apart: float, step: float) -> list[float]:
    """Sizes in whole steps from the least to the most, about so far apart."""
    first, last = np.ceil(least / step - 1e-2), np.floor(most / step + 1e-2)
    if last <= first:
        return [round(step * float(round(0.5 * (least + most) / step)), 4)]
    count = max(1, round((most - least) / apart))
    return sorted({round(step * float(round(one)), 4) for one in np.linspace(first, last, count + 1)})


class Gentle:
    """Which strokes neither press nor lift off too much on the glass as it is.

    Parameters
    ----------
    engine : CoarseEngine
        With the most likely constants.
    start : State
    strokes : tuple of StrokeSpec
        Among them the gentlest of every piece on top and lap.
    slack : float
        Factor by which more is allowed [1].
    """

    def __init__(self, engine: CoarseEngine, start: State, strokes: tuple[StrokeSpec, ...], slack: float = 1.0) -> None:
        self.engine, self.start, self.slack = engine, start, slack
        found = in_threads(lambda one: self._at(start, PlannedSpell(one, LOOKED_AT)), strokes)
        self._found = dict(zip(strokes, found, strict=True))
        self._least: dict[tuple[str, str | None], Floats] = {}
        for place in {(one.on_top, one.lap) for one in strokes}:
            least = np.min([rough for one, rough in self._found.items() if (one.on_top, one.lap) == place], axis=0)
            self._least[place] = MORE * np.minimum(least, 1e9)

    def with_slack(self, slack: float) -> Gentle:
        """The same with another factor."""
        other = copy(self)
        other.slack = slack
        return other

    def _at(self, state: State, spell: PlannedSpell) -> Floats:
        try:
            return self.engine.roughness(state, spell)
        except ContactError:
            return np.array((np.inf, 1.0))

    def allows_from_start(self, stroke: StrokeSpec) -> bool:
        """Whether a stroke is gentle on the glass as it is."""
        return self._is_gentle(stroke, self._found[stroke])

    def allows(self, state: State, spell: PlannedSpell) -> bool:
        """Whether a spell is, from another state."""
        return spell.stroke.is_press or self._is_gentle(spell.stroke, self._at(state, spell))

    def _is_gentle(self, stroke: StrokeSpec, rough: Floats) -> bool:
        pressed = max((row.pressed for row in rows_of(stroke, self.engine.bench)), default=np.inf)
        least = self._least.get((stroke.on_top, stroke.lap), np.zeros(2))
        return bool(np.all(rough <= self.slack * np.maximum((pressed, MOST_LIFTED), least)))
