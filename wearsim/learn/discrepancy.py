"""What the engine does not know even with the right constants.

* The removal of a whole session varies by a common factor from one session to the next (charge, wetness, how hard
  the hands press): log-normal, its spread unknown itself and learnt with the constants.
* The shape of the removal differs a little from the round, averaged engine's: real strokes are few, jittered and
  walked. Measured against the planar engine (docs/learning.md).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearsim.kernels.arrays import Floats


@dataclass(frozen=True)
class Discrepancy:
    """How far a session's removal may stand from the engine's.

    Parameters
    ----------
    spread : float
        Middle of the belief about the relative spread of the removal from session to session [1]. A judgement.
    spread_factor : float
        One-sigma factor within which that is believed [1]. A judgement.
    shape : float
        Difference in shape as a share of the RMS of the removal about its mean [1].
    even : float
        The same as a share of the mean removal [1].
    rim : float
        More of it at the rim, as a share of the mean removal [1].
    rim_length : float
        How fast that fades inwards, as a share of the mirror's radius [1].
    length : float
        Over which it goes together, as a share of the mirror's radius [1]. A judgement.
    floor : float
        Differences in shape that are always possible [m]. A judgement.
    """

    spread: float = 0.08
    spread_factor: float = 1.8
    shape: float = 0.02
    even: float = 0.003
    rim: float = 0.015
    rim_length: float = 0.04
    length: float = 0.15
    floor: float = 0.5e-9

    def covariance(self, removal: Floats, radius: Floats) -> Floats:
        """Covariance of the glass after a session from the difference in shape [m^2], shape (n, n).

        Parameters
        ----------
        removal, radius : (n,) ndarray
            [m]
        """
        weight = radius / radius.sum()
        mean = float(weight @ removal)
        about = float(np.sqrt(weight @ (removal - mean) ** 2))
        size = self.shape * about + self.even * abs(mean) + self.floor
        x = radius / radius[-1]
        rim = self.rim * abs(mean) * np.exp(-(1.0 - x) / self.rim_length)
        apart = x[:, None] - x
        return np.asarray(
            size**2 * np.exp(-0.5 * (apart / self.length) ** 2)
            + np.outer(rim, rim) * np.exp(-0.5 * (apart / self.rim_length) ** 2)
        )
