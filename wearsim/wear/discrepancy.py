"""How far glass goes its own way: what a session does beyond the engine, even with the right constants (physics section 9).

Four things that no constant describes. A session, and every spell in it, removes a little more or less than another
(charge, wetness, how hard the hands press). The shape of the removal is not quite the engine's. The lap begins from a
shape that nobody knows, as far as pressing leaves it. Everything that predicts a band, calibrates, proposes or rehearses
takes them from here.

The numbers are judgements, tuned on glass that was not made by wearsim's engines (docs/learning.md).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.lap import Lap
from wearsim.kernels.arrays import Floats
from wearsim.wear.constants import AS_STATED, Constants, normal_draws

LAP_MODES = 4
"""Smooth shapes of which a lap's misfit is made."""
LEAST_PRESSING = 300.0
"""A lap is pressed for so long at least [s] (common practice, no source)."""
UNSAID = 400.0
"""How long a lap is taken to have been pressed where nobody says [s]: what leaves as much of a misfit, root mean square, as
anything between 3 and 30 minutes. A judgement."""
MOST_PRESSING = 43200.0
"""No card asks for more [s]: overnight."""


@dataclass(frozen=True)
class Discrepancy:
    """How far a session's removal may be from the engine's, even with the right constants.

    Parameters
    ----------
    spread : float
        Middle of the belief about the relative spread of the removal from session to session [1].
    spread_factor : float
        One-sigma factor within which that is believed [1].
    spell_spread : float
        Relative spread of the removal from spell to spell within a session [1].
    shape : float
        Difference in shape as a share of the RMS of the removal about its mean [1].
    even : float
        The same as a share of the mean removal [1].
    rim : float
        More of it at the rim, as a share of the mean removal [1].
    rim_length : float
        How fast that fades inwards, as a share of the mirror's radius [1].
    length : float
        Over which it goes together, as a share of the mirror's radius [1].
    fine : float
        Ripple of the removal, from channels, facets and strokes that are few, as a share of its RMS about its mean [1].
    local : float
        The same where the removal is more or less than round about, as a share of that difference [1]: a hung rim or a dug
        zone is never as sharp, or where, the engine has it.
    fine_length, nearby : float
        Over which that goes together, and how wide "round about" is, as shares of the mirror's radius [1].
    floor : float
        Differences in shape that are always possible: what the grids of calibration leave [m].
    fresh_misfit, sag : float
        RMS of the smooth misfit of a lap before it is pressed: of one that was made or trimmed, and of one that has lain
        since the session before [m].
    pressed_to : float
        RMS misfit down to which a card asks for pressing [m].
    """

    spread: float = 0.08
    spread_factor: float = 1.8
    spell_spread: float = 0.12
    shape: float = 0.1
    even: float = 0.01
    rim: float = 0.03
    rim_length: float = 0.05
    length: float = 0.15
    fine: float = 0.015
    local: float = 0.1
    fine_length: float = 0.05
    nearby: float = 0.1
    floor: float = 1e-9
    fresh_misfit: float = 300e-9
    sag: float = 100e-9
    pressed_to: float = 10e-9

    def covariance(self, removal: Floats, radius: Floats) -> Floats:
        """Covariance (n, n) of the glass after a session from the difference in shape [m^2]; removal and radius (n,) [m]."""
        weight = radius / radius.sum()
        mean = float(weight @ removal)
        about = float(np.sqrt(weight @ (removal - mean) ** 2))
        smooth = np.hypot(self.shape * about + self.even * abs(mean), self.floor)
        x = radius / radius[-1]
        square, rim = (x[:, None] - x) ** 2, self.rim * abs(mean) * np.exp(-(1.0 - x) / self.rim_length)
        fine = np.hypot(self.fine * about, self.local * (removal - self.nearby_mean(removal, x)))
        return np.asarray(
            smooth**2 * np.exp(-0.5 * square / self.length**2)
            + np.outer(fine, fine) * np.exp(-0.5 * square / self.fine_length**2)
            + np.outer(rim, rim) * np.exp(-0.5 * square / self.rim_length**2)
        )

    def nearby_mean(self, removal: Floats, x: Floats) -> Floats:
        """Mean of the removal nearby along a diameter, at shares ``x`` (n,) of the radius [m]."""
        width = 0.5 * (np.diff(x, prepend=x[0]) + np.diff(x, append=x[-1]))
        away = np.stack([x[:, None] - x, x[:, None] + x]) / self.nearby
        near = np.exp(-0.5 * away**2).sum(axis=0) * width
        return np.asarray(near @ removal / near.sum(axis=1))

    def pressing(self, bench: Bench, lap: Lap, constants: Constants = AS_STATED, *, is_fresh: bool = True) -> float:
        """Seconds of pressing after which no more than :attr:`pressed_to` of a misfit is left, within what is practised."""
        before = self.fresh_misfit if is_fresh else self.sag
        time = bench.relaxation_time_at(lap) * constants.relaxation_time
        wanted = time * float(np.log(max(before / self.pressed_to, 1.0)))
        return min(max(wanted, LEAST_PRESSING), MOST_PRESSING)

    def chances(self, count: int, spells: int, seed: int) -> tuple[SessionChance, ...]:
        """Draws of a session of so many spells, each as likely as the next."""
        drawn = normal_draws(count, 1 + spells + LAP_MODES + SHAPE_MODES, seed)
        sizes = np.exp(self.spread * drawn[:, :1] + self.spell_spread * drawn[:, 1 : 1 + spells])
        lap, shape = np.split(drawn[:, 1 + spells :], [LAP_MODES], axis=1)
        return tuple(SessionChance(self, *row) for row in zip(sizes, lap, shape, strict=True))


SHAPE_MODES = 20
"""Independent shapes of which a difference is drawn."""


@dataclass(frozen=True, eq=False)
class SessionChance:
    """What chance made of one session.

    Parameters
    ----------
    sizes : (spells,) ndarray
        Factors on the removal of each spell [1].
    lap, shape : ndarray
        Standard normal deviates of the lap's misfit and of the difference in shape [1].
    """

    discrepancy: Discrepancy
    sizes: Floats
    lap: Floats
    shape: Floats

    def shape_error(self, removal: Floats, radius: Floats) -> Floats:
        """Glass left higher than the engine has it, (n,) [m], by the removal (n,) [m] there."""
        values, vectors = np.linalg.eigh(self.discrepancy.covariance(removal, radius))
        root = vectors[:, -SHAPE_MODES:] * np.sqrt(np.clip(values[-SHAPE_MODES:], 0.0, None))
        signs = np.where(root[-1] < 0.0, -1.0, 1.0)  # eigenvectors have no sign of their own
        return np.asarray((root * signs) @ self.shape[-root.shape[1] :])

    def misfit(self, share: Floats, rms: float) -> Floats:
        """A lap's misfit of this RMS on average, at these shares of its radius [m]."""
        return np.asarray(rms * lap_shapes(share) @ self.lap)


def lap_shapes(share: Floats) -> Floats:
    """Smooth round shapes (..., :data:`LAP_MODES`) of a lap at shares of its radius: a misfit of RMS 1 by area is their sum.

    Waves in the square of the radius, one of ``n`` waves ``1/n`` as large; by area each has no mean.
    """
    waves = np.arange(1.0, LAP_MODES + 1.0)
    sizes = 1.0 / waves / np.sqrt(0.5 * np.sum(waves**-2.0))
    return np.asarray(np.cos(np.pi * np.asarray(share)[..., None] ** 2 * waves) * sizes)
