"""The flat lap: statics and wear of two pieces that share the sphere exactly (w = u = 0).

A rigid, perfectly fitting lap is what the books reason with, and what the closed forms of the published tables are about.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from wearsim.errors import ContactError
from wearsim.kernels.contact import balance
from wearsim.kernels.quadrature import area_nodes
from wearsim.wear.state import gauss_table


@dataclass(frozen=True)
class FlatContact:
    """A flat lap in balance: the pressure is ``max(0, level + along x + across y)``.

    Parameters
    ----------
    level : float
        Pressure at the mirror's centre, were it covered [Pa].
    along, across : float
        Its slopes [Pa/m].
    """

    level: float
    along: float
    across: float

    def pressure(self, x: float, y: float = 0.0) -> float:
        """Pressure at a covered point, without the glass-edge effect.

        Parameters
        ----------
        x, y : float
            Along and across the line of centres, from the mirror's centre [m].

        Returns
        -------
        float
            [Pa]
        """
        return max(0.0, self.level + self.along * x + self.across * y)


def flat_contact(
    mirror_radius: float, lap_radius: float, offset: float, force: float, load: tuple[float, float], *,
    fineness: int = 40,
) -> FlatContact:  # fmt: skip
    """Balance a flat lap.

    Parameters
    ----------
    mirror_radius, lap_radius, offset : float
        [m]
    force : float
        [N]
    load : (float, float)
        Where the load stands, along and across the line of centres from the mirror's centre [m].
    fineness : int
        Area nodes per radius and per half turn.

    Returns
    -------
    FlatContact
        The plane of pressures that carries the force at its place.

    Raises
    ------
    ContactError
        Where no balance was found: the load stands outside the contact.
    """
    x, y, area, plain = (np.empty(20000) for _ in range(4))
    n = area_nodes(
        mirror_radius, 0.0, lap_radius, offset, 0.0, 5e-3, fineness, fineness, gauss_table(), x, y, area, plain,
    )  # fmt: skip
    x, y, area = x[:n], y[:n], area[:n]
    full = 2.0 * np.array([area.sum(), area @ x, area @ x**2, area @ y**2, 0.0, 0.0])
    pose = np.zeros(3)
    # scaled to pressures: a modulus of 1 Pa/m makes the pose a pressure and its slopes
    steps, left = balance(x, y, area, np.zeros(n), full, 1.0, force, *load, mirror_radius, True, pose)
    if steps < 0:
        raise ContactError(f"flat lap at an offset of {offset / mirror_radius:.3f} of the mirror's radius", left)
    level, along, across = (float(value) for value in pose)
    return FlatContact(level, along, across)


def lift_off_offset(mirror_radius: float, lap_radius: float, *, top_is_tool: bool = True) -> float:
    """Centre offset at which a flat lap begins to lift off, the load at the top piece's centre.

    Parameters
    ----------
    mirror_radius, lap_radius : float
        [m]
    top_is_tool : bool
        Whether the load stands at the lap's centre, and not at the mirror's.

    Returns
    -------
    float
        [m]
    """

    def least(offset: float) -> float:
        load = (offset if top_is_tool else 0.0, 0.0)
        c = flat_contact(mirror_radius, lap_radius, offset, 1.0, load)
        ends = (max(offset - lap_radius, -mirror_radius), min(mirror_radius, offset + lap_radius))
        return min(c.level + c.along * x for x in ends)

    low = max(0.0, mirror_radius - lap_radius) if lap_radius < mirror_radius else 0.0
    high = low + 0.9 * min(mirror_radius, lap_radius)
    return float(brentq(least, low + 1e-6 * mirror_radius, high, xtol=1e-9 * mirror_radius))
