"""The knife-edge readings to expect after a programme, with their spread (physics section 8).

The readings to expect halfway through a long spell: a check before it has gone too far (physics section 8).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.programme import Programme, Spell
from wearsim.errors import ContactError, InputError
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.expected import ExpectedReadings, expected_readings
from wearsim.knifeedge.longitudinal import target_readings
from wearsim.knifeedge.mask import LEAST_ZONES, design_mask
from wearsim.knifeedge.readings import Readings
from wearsim.knifeedge.setting_noise import setting_noise
from wearsim.parallel import in_threads
from wearsim.wear.accuracy import DEFAULT, Accuracy
from wearsim.wear.constants import Belief, Constants, prior
from wearsim.wear.initial_figure import StartFigure, own_sheet, start_figure
from wearsim.wear.outcome import Outcome
from wearsim.wear.predict import BAND_DRAWS, gauge_for
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


def errors_at(
    bench: Bench, programme: Programme, places: Sequence[int], start: StartFigure, laps: State | None, accuracy: Accuracy
) -> Callable[[Floats, Constants], Floats | None]:  # fmt: skip
    """Work a programme from one glass with one set of constants, and look at it at some places.

    Parameters
    ----------
    places : sequence of int
        How many spells lead to each place; -1 for the end.
    start : StartFigure
        Whose radii count.
    laps : State or None
        As a session left them.

    Returns
    -------
    callable
        From heights (n,) [m] and constants to figure errors (places, n) [m]; None where no balance is found.
    """
    gauge, engine = gauge_for(bench, start.radius), RadialEngine(accuracy)

    def one(height: Floats, constants: Constants) -> Floats | None:
        state = engine.begin(bench, replace(start, height=height), laps)
        try:
            heights = engine.run(bench, programme, state, constants).heights
        except ContactError:
            return None
        return np.array([gauge.error(heights[place]) for place in places])

    return one


def drawn_figures(
    bench: Bench, programme: Programme, *, seed: int = 0, draws: int = BAND_DRAWS, belief: Belief | None = None,
    start: StartFigure | None = None, laps: State | None = None, accuracy: Accuracy = DEFAULT,
) -> Floats:  # fmt: skip
    """Figure errors after a programme over draws of the constants and of the measured glass.

    The same draws as those of the band of :func:`wearsim.wear.predict.predict`, of which it shows percentiles.

    Returns
    -------
    (k, n) ndarray
        Without the draws that found no balance [m].
    """
    belief = prior(bench) if belief is None else belief
    start = start_figure(bench, accuracy) if start is None else start
    one = errors_at(bench, programme, (-1,), start, laps, accuracy)
    errors = in_threads(one, start.draws(draws, seed + 1), belief.draws(draws, seed))
    kept = [error[0] for error in errors if error is not None]
    return np.array(kept).reshape(len(kept), start.radius.size)


def readings_after(
    bench: Bench, outcome: Outcome, sheet: Readings, drawn: Floats | None = None, *, is_own: bool = True
) -> ReadingsAfter:
    """The readings to expect after an outcome.

    Parameters
    ----------
    sheet : Readings
        Zones, source and accuracy of a setting.
    drawn : (k, n) ndarray, optional
        Figures that are possible afterwards (:func:`drawn_figures`); without them the spread is the setting's
        alone [m].
    is_own : bool
        Whether the sheet is the person's own.
    """
    target = target_readings(sheet.zones, bench.mirror.geometry, sheet.source)
    return ReadingsAfter(
        sheet, is_own, read_of(bench, sheet, outcome.radius, outcome.before).positions, target - target[0],
        read_of(bench, sheet, outcome.radius, outcome.figure_error, drawn),
    )  # fmt: skip


def read_of(
    bench: Bench, sheet: Readings, radius: Floats, error: Floats, drawn: Floats | None = None
) -> ExpectedReadings:
    """The readings to expect of one figure.

    Parameters
    ----------
    sheet : Readings
        Zones, source and accuracy of a setting.
    radius, error : (n,) ndarray
        [m]
    drawn : (k, n) ndarray, optional
        Figures that are possible; without them, or with one alone, the spread is the setting's alone [m].
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
    """A programme as far as the middle of its last long spell, every long one in two halves.

    Splitting a spell changes nothing (physics section 6): the state between the halves is the one to look at.

    Returns
    -------
    Programme
        Empty where no spell is long.
    dict of int to int
        Number of a long spell, from 1, to how many spells of the new programme lead to its middle.
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
    found: ReadingsAfter, bench: Bench, programme: Programme, *, seed: int = 0, draws: int = BAND_DRAWS,
    belief: Belief | None = None, start: StartFigure | None = None, laps: State | None = None,
    accuracy: Accuracy = DEFAULT,
) -> ReadingsAfter:  # fmt: skip
    """The same readings, with those to expect halfway through every long spell.

    Parameters
    ----------
    found : ReadingsAfter
        After the programme.
    seed, draws : int
        Of the draws of the constants and of the measured glass, as for the band.
    belief, start, laps : optional
        As for :func:`wearsim.wear.predict.predict`.
    """
    part, middles = halved(programme)
    if not middles:
        return found
    belief = prior(bench) if belief is None else belief
    start = start_figure(bench, accuracy) if start is None else start
    one = errors_at(bench, part, tuple(middles.values()), start, laps, accuracy)
    likely = one(start.height, belief.best())
    if likely is None:
        return found
    drawn = in_threads(one, start.draws(draws, seed + 1), belief.draws(draws, seed)) if draws else []
    kept = [errors for errors in drawn if errors is not None]
    halfway = {
        number: read_of(bench, found.sheet, start.radius, likely[row], np.array([errors[row] for errors in kept]))
        for row, number in enumerate(middles)
    }
    return replace(found, halfway=MappingProxyType(halfway))


def expected_after(
    bench: Bench, programme: Programme, outcome: Outcome, *, for_card: bool = False, seed: int = 0,
    draws: int = BAND_DRAWS, **known: Any,
) -> ReadingsAfter | None:  # fmt: skip
    """The readings to expect after a programme, in the zones and the unit of the bench's own sheet.

    Parameters
    ----------
    bench : Bench
    programme : Programme
    outcome : Outcome
        Of the programme.
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
