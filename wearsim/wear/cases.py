"""Load cases: where the load stands relative to the top piece's centre, seen from the line of centres.

The friction lead carries the load forward along the motion; hands that push off centre carry it along and
across the stroke (physics section 2). Averaged over a spell only the angle to the line of centres matters, so a
few cases per offset stand for all directions: headings out, in and across for the lead, and for an off-centre
push as many azimuth bins of the line of centres in the stroke's axes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearsim.wear.grid import Array

AZIMUTH_BINS = 8


@dataclass(frozen=True)
class LoadCases:
    """Load positions in axes along and across the line of centres.

    Parameters
    ----------
    position : (M, 2) ndarray
        [m]; case ``bin * headings + heading``.
    bins, headings : int
        See :func:`wearsim.kernels.path.case_weights`.
    """

    position: Array
    bins: int
    headings: int

    @property
    def farthest(self) -> float:
        """Largest distance of the load from the top piece's centre [m]."""
        return float(np.hypot(self.position[:, 0], self.position[:, 1]).max())


def load_cases(lead: float, push_offset: tuple[float, ...]) -> LoadCases:
    """Cases for a friction lead and a push off centre.

    Parameters
    ----------
    lead : float
        Push height times friction [m].
    push_offset : (float, float)
        Along the stroke and across it [m].
    """
    off_centre = np.hypot(push_offset[0], push_offset[1]) > 0.0
    leads = [(0.0, 0.0)]
    if lead != 0.0:
        leads = [(lead, 0.0), (-lead, 0.0), (0.0, lead)] + ([(0.0, -lead)] if off_centre else [])
    if not off_centre:
        return LoadCases(np.array(leads), 1, len(leads))
    rows = []
    for turn in 2.0 * np.pi * np.arange(AZIMUTH_BINS) / AZIMUTH_BINS:
        c, s = np.cos(turn), np.sin(turn)
        along = c * push_offset[0] + s * push_offset[1]
        across = -s * push_offset[0] + c * push_offset[1]
        rows += [(along + q[0], across + q[1]) for q in leads]
    return LoadCases(np.array(rows), AZIMUTH_BINS, len(leads))
