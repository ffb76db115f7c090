"""The mirror: the round piece of glass."""

from __future__ import annotations

import math
from typing import Annotated, Self

import numpy as np
from pydantic import model_validator

from wearsim.bench import materials as catalogue
from wearsim.bench.fields import (
    CurveRadius,
    Density,
    Depth,
    Diameter,
    InputTable,
    Mass,
    Name,
    Thickness,
    choice,
    default,
    number,
)
from wearsim.bench.input_errors import length_error
from wearsim.bench.units import in_digits
from wearsim.errors import InputError
from wearsim.figure.conic import Conic, MirrorGeometry

STEEPEST_TARGET = 0.03
"""Slope at the rim of the target against a sphere of the same radius of curvature: a paraboloid of f/0.66 [1]. A judgement:
steeper, and a lap that was pressed anywhere touches nowhere else."""
SUPPORTS = ("three pads", "six pads", "nine pads", "eighteen pads", "even")


class Mirror(InputTable):
    """The glass, from ``[mirror]``.

    Attributes
    ----------
    diameter, radius_of_curvature : float
        [m].
    conic : float
        Conic constant of the target [1].
    glass : str
        A glass from the catalogue: gives the density and the wear relative to borosilicate.
    density : float or None
        [kg/m^3], instead of the glass's.
    thickness : float
        Thickness at the edge [m].
    mass : float or None
        [kg], instead of the one computed from density and thickness.
    rim_excluded : float
        Width of the outermost ring left out of the figure's numbers [m].
    hole : float
        Diameter of a central hole [m].
    support : str
        What it lies on while the tool is on top, one of :data:`SUPPORTS`: pads that share the load equally, or an
        even layer of felt or carpet. It affects only the estimate of effects not modelled.
    """

    diameter: Diameter
    radius_of_curvature: CurveRadius
    conic: Annotated[float, *number("-1.0", least=-50.0, most=50.0)] = default(-1.0, "the paraboloid")
    glass: Name = default("borosilicate", "judgement: the usual glass of a mirror blank")
    density: Density | None = None
    thickness: Thickness = default(0.038, "judgement: a usual blank, 1 1/2 in")
    mass: Mass | None = None
    rim_excluded: Depth = default(0.002, "judgement: a bevel")
    hole: Depth = default(0.0, "no hole")
    support: Annotated[str, *choice(*SUPPORTS)] = default(
        SUPPORTS[0], "common practice, no source; or six, nine or eighteen pads, or an even layer of felt or carpet"
    )

    @property
    def radius(self) -> float:
        """[m]."""
        return self.diameter / 2

    @property
    def hole_radius(self) -> float:
        """[m]."""
        return self.hole / 2

    @property
    def clear_radius(self) -> float:
        """Outer radius of the clear aperture [m] (physics section 7)."""
        return self.radius - self.rim_excluded

    @property
    def geometry(self) -> MirrorGeometry:
        """Target conic and glass, for figure and knife."""
        return MirrorGeometry(
            self.radius_of_curvature,
            self.conic,
            radius=self.radius,
            clear_radius=self.clear_radius,
            hole_radius=self.hole_radius,
        )

    @property
    def material(self) -> catalogue.Glass:
        """The glass, with its values."""
        return catalogue.glass(self.glass)

    @property
    def density_of_glass(self) -> float:
        """[kg/m^3], the stated one or the glass's."""
        return self.material.density if self.density is None else self.density

    @property
    def piece_mass(self) -> float:
        """Mass of the mirror [kg]: the stated one, or density x (disc less what the concave front lacks)."""
        if self.mass is not None:
            return self.mass
        disc = math.pi * (self.radius**2 - self.hole_radius**2) * self.thickness
        return self.density_of_glass * (disc - self._missing())

    def _missing(self) -> float:
        """Volume between the plane of the rim and the concave front, hole left out [m^3]."""
        above = math.pi * (self.radius**2 - self.hole_radius**2) * self._sagitta(self.radius)
        return above - (self._below(self.radius) - self._below(self.hole_radius))

    def _sagitta(self, radius: float) -> float:
        with np.errstate(under="ignore"):  # a hole of next to nothing has a sagitta of nothing
            return float(self.geometry.sagitta(radius))

    def _below(self, radius: float) -> float:
        """Integral of the sagitta over the disc of this radius [m^3], in a form that cancels nothing.

        With ``s = sqrt(1 - (1+K) r^2/R^2)`` it is ``pi r^4 (1 + 2 s) / (3 R (1 + s)^2)`` (derived: z is
        integrated over r^2; K = -1 gives the paraboloid's pi r^4 / (4 R)).
        """
        root = math.sqrt(1 - (1 + self.conic) * (radius / self.radius_of_curvature) ** 2)
        return math.pi * radius**4 / self.radius_of_curvature * (1 + 2 * root) / (3 * (1 + root) ** 2)

    @model_validator(mode="after")
    def _check(self) -> Self:
        catalogue.glass(self.glass)
        self._check_curve()
        self._check_hole_and_rim()
        self._check_weight()
        return self

    def _check_curve(self) -> None:
        if self.radius_of_curvature <= self.radius:
            message, bound = "no sphere of this radius is as wide as the mirror", "more than half the diameter"
            raise length_error("radius_of_curvature", self.radius_of_curvature, message, bound, self.radius)
        most = (self.radius_of_curvature / self.radius) ** 2 - 1
        if self.conic >= most:
            raise InputError(
                "the conic ends before it reaches the rim",
                key="conic",
                value=self.conic,
                expected=f"less than {in_digits(most, 4)} for this diameter and radius of curvature",
            )
        sphere = Conic(self.radius_of_curvature, 0.0)
        steepest = float(abs(self.geometry.slope(self.radius) - sphere.slope(self.radius)))
        if steepest > STEEPEST_TARGET:
            raise InputError(
                "too far from a sphere for any lap to follow: the slopes at the rim differ by "
                f"{in_digits(steepest * 1e3, 4)} um per mm",
                key="conic", value=self.conic, expected=f"at most {STEEPEST_TARGET * 1e3:g} um per mm",
            )  # fmt: skip

    def _check_hole_and_rim(self) -> None:
        if self.hole >= self.diameter:
            message, bound = "the hole is as wide as the mirror", "less than the diameter"
            raise length_error("hole", self.hole, message, bound, self.diameter)
        most = (self.radius - self.hole_radius) / 2
        if self.rim_excluded >= most:
            message, bound = "too little of the glass is left", "less than half the glass's width from hole to rim"
            raise length_error("rim_excluded", self.rim_excluded, message, bound, most)

    def _check_weight(self) -> None:
        if self.mass is not None and self.density is not None:
            raise InputError("both a mass and a density are given", key="mass", expected="only one of the two")
        depth = self._sagitta(self.radius) - self._sagitta(self.hole_radius)
        if self.thickness <= depth:
            message, bound = "thinner at the edge than the curve is deep", "more than the sagitta"
            raise length_error("thickness", self.thickness, message, bound, depth)
