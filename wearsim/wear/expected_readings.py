"""The knife-edge readings expected after a programme, with their spread (physics section 8).

And halfway through a long spell: a check before it has gone too far.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme, Spell
from wearsim.errors import ContactError, InputError
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.forward_model import ExpectedReadings, expected_readings
from wearsim.knifeedge.longitudinal import target_readings
from wearsim.knifeedge.mask import LEAST_ZONES, design_mask
from wearsim.knifeedge.readings import Readings
from wearsim.knifeedge.setting_noise import setting_noise
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import Belief, prior
from wearsim.wear.discrepancy import Discrepancy
from wearsim.wear.initial_figure import StartFigure, own_sheet, start_figure
from wearsim.wear.outcome import Outcome
from wearsim.wear.predict import BAND_DRAWS, Uncertainty, gauge_for
from wearsim.wear.radial.engine import RadialEngine
from wearsim.wear.state import State

# Windows of the mask that is assumed where nobody named one: as many of these as the mirror has room for.
USUAL_ZONES = 6


@dataclass(frozen=True, eq=False)
class ReadingsAfter:
    """What the tester should show after a programme.

    Every position is counted from the first zone's.

    Parameters
    ----------
    sheet : Readings
        Zones, source and unit; the person's own, or those of a usual mask.
    is_own : bool
        Whether the sheet is the person's own.
    now, target : (n,) ndarray
        The same readings of the surface as it stands, and of the target conic [m].
    halfway : mapping of int to ExpectedReadings
        The same halfway through a spell, by its number, from 1; empty where nobody asked
        (:func:`wearsim.wear.expected_readings.with_halfway`).
    """

    sheet: Readings
    is_own: bool
    now: Floats
    target: Floats
    after: ExpectedReadings
    halfway: Mapping[int, ExpectedReadings] = field(default_factory=lambda: MappingProxyType({}))

    def to_json(self) -> dict[str, Any]:
        """One object for ``--json``, SI units in the key names."""
        zones = self.sheet.zones
        return {
            "source": self.sheet.source,
            "zones_m": np.column_stack([zones.inner, zones.outer]).tolist(),
            "now_m": self.now.tolist(),
            "after_m": self.after.positions.tolist(),
            "target_m": self.target.tolist(),
            "surface_sigma_m": self.after.sigma.tolist(),
            "setting_sigma_m": self.after.setting.tolist(),
            "sigma_m": self.after.spread.tolist(),
        }


def usual_sheet(bench: Bench) -> Readings | None:
    """A sheet for a usual mask on this mirror, source moving; None where it has no room for one."""
    for count in range(USUAL_ZONES, LEAST_ZONES - 1, -1):
        try:
            made = design_mask(count, bench.mirror.geometry, bench.light.wavelength)
        except InputError:
            continue
        return Readings(made.zones, target_readings(made.zones, bench.mirror.geometry)[None, :])
    return None


class _Trials:
    """A programme worked from glass and constants that are possible, and the figure errors at some places of it.

    ``places`` says how many spells lead to each; -1 is the end. The rest is as for :func:`wearsim.wear.predict.predict`.
    """

    def __init__(
        self, bench: Bench, programme: Programme, places: Sequence[int], belief: Belief | None = None,
        start: StartFigure | None = None, laps: State | None = None, accuracy: Accuracy = DEFAULT,
        discrepancy: Discrepancy | None = None,
    ) -> None:  # fmt: skip
        self.bench, self.programme, self.places = bench, programme, places
        self.start = start_figure(bench, accuracy) if start is None else start
        belief = prior(bench) if belief is None else belief
        self.uncertain = Uncertainty(belief, self.start, laps, discrepancy or Discrepancy())
        self.engine, self.gauge = RadialEngine(accuracy), gauge_for(bench, self.start.radius)

    def _errors(self, heights: Floats) -> Floats:
        return np.array([self.gauge.error(heights[place]) for place in self.places])

    def likely(self) -> Floats | None:
        """At the most likely constants, of the glass as measured: (places, n) [m]; None where no balance is found."""
        best = self.uncertain.belief.best()
        try:
            state = self.uncertain.begin(self.engine, self.bench, self.programme, self.start, best)
            run = self.engine.run(self.bench, self.programme, state, best)
        except ContactError:
            return None
        return self._errors(run.heights)

    def drawn(self, draws: int, seed: int) -> Floats:
        """Over draws of everything, (k, places, n), without those that could not be balanced."""
        found = self.uncertain.draws(self.engine, self.bench, self.programme, draws, seed)
        kept = [self._errors(one.heights) for one in found if one is not None]
        return np.array(kept).reshape(len(kept), len(self.places), self.start.radius.size)


def drawn_figures(
    bench: Bench, programme: Programme, *, seed: int = 0, draws: int = BAND_DRAWS, **known: Any
) -> Floats:
    """Figure errors after a programme over draws of the constants and of the measured glass.

    The same draws as those of the band of :func:`wearsim.wear.predict.predict`, of which it shows percentiles.

    Parameters
    ----------
    **known
        ``belief``, ``start``, ``laps`` and ``accuracy``, as there.

    Returns
    -------
    (k, n) ndarray
        Without the draws that could not be balanced [m].
    """
    return _Trials(bench, programme, (-1,), **known).drawn(draws, seed)[:, 0]


def readings_after(
    bench: Bench, outcome: Outcome, sheet: Readings, drawn: Floats | None = None, *, is_own: bool = True
) -> ReadingsAfter:
    """The readings expected after an outcome, its possible figures from :func:`drawn_figures` (k, n) [m].

    ``is_own`` says whether the sheet is the person's own.
    """
    target = target_readings(sheet.zones, bench.mirror.geometry, sheet.source)
    return ReadingsAfter(
        sheet, is_own, read_of(bench, sheet, outcome.radius, outcome.before).positions, target - target[0],
        read_of(bench, sheet, outcome.radius, outcome.figure_error, drawn),
    )  # fmt: skip


def read_of(
    bench: Bench, sheet: Readings, radius: Floats, error: Floats, drawn: Floats | None = None
) -> ExpectedReadings:
    """The readings expected of one figure error (n,) [m], in the zones and with the setting noise of a sheet.

    Of figures that are possible, ``drawn`` (k, n) [m], at least two are needed for a spread in addition to the setting's.
    """
    geometry = bench.mirror.geometry
    one = setting_noise(sheet, geometry, bench.light.wavelength)
    possible = None if drawn is None or len(drawn) < 2 else drawn
    return expected_readings(
        sheet.zones, radius, error, geometry, source=sheet.source, draws=possible, setting_sigma=one.sigma
    )


# A spell longer than this is worth a look halfway [min]. A judgement.
LONG_SPELL = 20.0


def is_long(spell: Spell) -> bool:
    """Whether a spell is worth a look halfway."""
    return not spell.is_press and spell.minutes > LONG_SPELL


def halved(programme: Programme) -> tuple[Programme, dict[int, int]]:
    """A programme as far as the middle of its last long spell, every long one in two halves; empty where none is long.

    Splitting a spell changes nothing (physics section 6): the state between the halves is the one to look at. The
    mapping leads from the number of a long spell, from 1, to how many spells of the new programme lead to its middle.
    """
    spells: list[Spell] = []
    middles: dict[int, int] = {}
    for number, spell in enumerate(programme.spells, start=1):
        if is_long(spell):
            spells.append(spell.model_copy(update={"minutes": 0.5 * spell.minutes}))
            middles[number] = len(spells)
            spells.append(spells[-1].model_copy(update={"turn": 0.0}))
        else:
            spells.append(spell)
    last = max(middles.values(), default=0)
    return Programme(spells=tuple(spells[:last]), file=programme.file), middles


def with_halfway(
    found: ReadingsAfter, bench: Bench, programme: Programme, *, seed: int = 0, draws: int = BAND_DRAWS, **known: Any
) -> ReadingsAfter:
    """The same readings, with those to expect halfway through every long spell; arguments as in :func:`drawn_figures`."""
    part, middles = halved(programme)
    if not middles:
        return found
    trials = _Trials(bench, part, tuple(middles.values()), **known)
    likely = trials.likely()
    if likely is None:
        return found
    drawn = trials.drawn(draws, seed) if draws else np.empty((0, *likely.shape))
    halfway = {
        number: read_of(bench, found.sheet, trials.start.radius, likely[row], drawn[:, row])
        for row, number in enumerate(middles)
    }
    return replace(found, halfway=MappingProxyType(halfway))


def expected_after(
    bench: Bench, programme: Programme, outcome: Outcome, *, for_card: bool = False, seed: int = 0,
    draws: int = BAND_DRAWS, **known: Any,
) -> ReadingsAfter | None:  # fmt: skip
    """The readings expected after a programme, in the zones and the unit of the bench's own sheet.

    Parameters
    ----------
    for_card : bool
        Whether they are for a bench card: in usual zones where the bench names none, else halfway through long spells
        as well.
    seed, draws : int
        Of the draws of the constants and of the measured glass, as for the band.
    **known
        ``belief``, ``start`` and ``laps``, as for :func:`wearsim.wear.predict.predict`.

    Returns
    -------
    ReadingsAfter or None
        None where there are no zones to read or nothing is worked.
    """
    own = own_sheet(bench)
    sheet = usual_sheet(bench) if own is None and for_card else own
    if sheet is None or not programme.spells:
        return None
    drawn = drawn_figures(bench, programme, seed=seed, draws=draws, **known) if draws else None
    found = readings_after(bench, outcome, sheet, drawn, is_own=own is not None)
    if not for_card or own is None:
        return found
    return with_halfway(found, bench, programme, seed=seed, draws=draws, **known)
