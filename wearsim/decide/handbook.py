"""The textbook stroke: the classical one for each kind of figure (common practice, no source)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.decide.limits import Limits
from wearsim.decide.repertoire import is_allowed, size_step
from wearsim.decide.stroke_library import StrokeSpec
from wearsim.figure.metrics import FigureGauge
from wearsim.kernels.arrays import Floats


@dataclass(frozen=True)
class Complaint:
    """A kind of figure error and the classical answer to it.

    Parameters
    ----------
    words : str
        As people say it.
    shape : {"correction", "rim", "centre", "zone"}
        What it looks like over the radius.
    sign : float
        Of the shape.
    stroke : StrokeSpec
        Lengths in diameters.
    how : str
        What the trade says of it beyond the stroke; empty where the stroke says all.
    """

    words: str
    shape: str
    sign: float
    stroke: StrokeSpec
    how: str = ""

    @property
    def answer(self) -> str:
        """The complaint, and how its stroke is worked where there is something to say."""
        return f"{self.words} ({self.how})" if self.how else self.words

    def profiles(self, x: Floats) -> list[Floats]:
        """Shapes (n,) at shares of the radius, of any height."""
        if self.shape == "correction":
            return [self.sign * x**4]
        if self.shape == "rim":
            return [self.sign * np.exp(-(1.0 - x) / width) for width in (0.04, 0.08)]
        if self.shape == "centre":
            return [self.sign * np.exp(-((x / width) ** 2)) for width in (0.15, 0.25, 0.35)]
        return [
            self.sign * np.exp(-(((x - place) / width) ** 2))
            for place in np.arange(0.35, 0.95, 0.05)
            for width in (0.07, 0.12, 0.18)
        ]


COMPLAINTS = (
    Complaint("undercorrection", "correction", 1.0, StrokeSpec("mirror", None, "w", 0.6, 0.2)),
    Complaint("overcorrection", "correction", -1.0, StrokeSpec("tool", None, "one-third", 1 / 3)),
    Complaint("a raised zone", "zone", 1.0, StrokeSpec("tool", None, "overhang", 0.3, 0.0, 0.2)),
    Complaint("a low zone", "zone", -1.0, StrokeSpec("tool", None, "one-third", 1 / 3)),
    Complaint("a central hill", "centre", 1.0, StrokeSpec("mirror", None, "straight", 0.6)),
    Complaint("a central hole", "centre", -1.0, StrokeSpec("tool", None, "one-third", 1 / 3)),
    Complaint(
        "a turned-down edge", "rim", -1.0, StrokeSpec("tool", None, "straight", 0.25),
        how="a full-size, freshly pressed lap, and hours of it; masking is usually cheaper",
    ),
    Complaint("a turned-up edge", "rim", 1.0, StrokeSpec("tool", None, "w", 0.5, 0.2)),
)  # fmt: skip


def complaint_of(gauge: FigureGauge, error: Floats) -> Complaint:
    """The complaint whose shape is most of a figure error (n,) [m], piston and r^2 taken off."""
    aperture = gauge.aperture
    x = aperture.radius / aperture.radius[-1]
    weighed = aperture.rms_matrix() @ aperture.levelling_matrix()
    levelled = aperture.levelling_matrix()

    def likeness(one: Complaint) -> float:
        shapes = np.array(one.profiles(x))
        sizes = np.array([aperture.rms(levelled @ shape) for shape in shapes])
        return float(np.max((shapes @ (weighed.T @ error)) / np.maximum(sizes, 1e-15)))

    return max(COMPLAINTS, key=likeness)


def handbook_stroke(complaint: Complaint, bench: Bench, limits: Limits) -> StrokeSpec | None:
    """The classical stroke in sizes of whole steps, with the largest lap; None where the limits do not allow it."""
    step, lap = size_step(bench), max(bench.laps, key=lambda one: one.diameter)
    stroke = complaint.stroke
    sizes = {name: round(step * round(getattr(stroke, name) / step), 4) for name in stroke.free}
    while True:
        made = StrokeSpec(
            stroke.on_top, lap.name, stroke.kind, stroke.length, stroke.sweep, stroke.overhang
        ).with_sizes(**sizes)
        if made.on_top in limits.pieces and is_allowed(made, bench, limits):
            return made
        sizes = {name: round(size - step, 4) for name, size in sizes.items()}
        if not sizes or min(sizes.values()) <= 0.0:
            return None
