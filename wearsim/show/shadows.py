"""The shadows that a tester shows, beside the profile that casts them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.personal_units import height_unit
from wearsim.bench.units import MILLIMETRES, LengthUnit, decimal, length_unit
from wearsim.kernels.arrays import Floats
from wearsim.knifeedge.forward_model import reading_matrix
from wearsim.knifeedge.longitudinal import SOURCES, Source, target_readings
from wearsim.knifeedge.readings import Readings
from wearsim.knifeedge.reduction import Reduction
from wearsim.knifeedge.shadows import KnifeTester, diffraction_shadow, geometric_shadow, knife_curve
from wearsim.show.style import BLUE, INK, QUIET, new_figure, plot_style
from wearsim.wear.expected_readings import usual_sheet
from wearsim.wear.initial_figure import own_sheet
from wearsim.wear.outcome import Outcome

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


LETTERS = "abcdefgh"
MOST_PIXELS = 4096
APART = 0.1
"""Least distance of two letters in one line, in radii of the mirror."""
PREDICTED_AT = (0.35, 0.7, 0.95)
"""Zones of the surface before that the knife is set to, in clear radii: inner, middle, outer (judgement)."""


def shadows_figure(
    surfaces: Mapping[str, KnifeTester], knives: Sequence[float], pixels: int = 512, unit: LengthUnit = MILLIMETRES,
    zero: float | None = None,
) -> Figure:  # fmt: skip
    """Plot what the tester shows of one or more surfaces at a few knife positions.

    One row a surface: its figure error along a diameter, with a letter where each knife position finds its zone, then
    the glass as the eye sees it at that position: the upper half by geometry, the lower half with diffraction.

    Parameters
    ----------
    surfaces : mapping of str to KnifeTester
        Name and surface, a row each.
    knives : sequence of float
        Positions along the axis, from the centre of curvature of the vertex, at most eight [m].
    pixels : int
        Along a side of each picture; doubled where the fringes need it.
    zero : float, optional
        Position that the titles count from, the reading of a first zone [m]; by default the vertex's centre of curvature.

    Raises
    ------
    ValueError
        No surface, or not one to eight knife positions.
    """
    if not surfaces or not 1 <= len(knives) <= len(LETTERS):
        raise ValueError("shadows need a surface and one to eight knife positions")
    reach = max(float(np.abs(one.error).max()) for one in surfaces.values()) / height_unit(0.0).size
    with plot_style():
        figure = new_figure(3.4 + 1.9 * len(knives), 2.5 * len(surfaces) + 0.6)
        ratios = [1.6, *[1.0] * len(knives)]
        grid = figure.subplots(len(surfaces), 1 + len(knives), squeeze=False, width_ratios=ratios)
        for row, (name, tester) in zip(grid, surfaces.items(), strict=True):
            _draw_profile(row[0], name, tester, knives, reach, unit)
            for axes, knife in zip(row[1:], knives, strict=True):
                _draw_shadow(axes, tester, knife, pixels)
        for axes, letter, knife in zip(grid[0, 1:], LETTERS, knives, strict=False):
            axes.set_title(
                f"{letter}: {decimal((knife - (zero or 0.0)) / unit.size, 2 if unit.size < 0.01 else 3)} {unit.name}"
            )
        grid[-1, 0].set_xlabel(f"along the diameter [{unit.name}]")
        figure.supxlabel(
            f"knife positions from {'the centre of curvature of the vertex' if zero is None else 'the reading of zone 1'}; "
            "knife from the left;\nupper half by geometry, lower half with diffraction",
            fontsize=9,
        )
    return figure


def predicted_shadows(bench: Bench, outcome: Outcome) -> Figure:
    """What the tester shows before and after, with the knife where three zones darken before.

    Positions count from what the first zone reads before, as the expected readings do.
    """
    sheet = own_sheet(bench) or usual_sheet(bench)
    errors = {"before": outcome.before, "predicted": outcome.figure_error}
    surfaces = _surfaces(bench, outcome.radius, errors, SOURCES[0] if sheet is None else sheet.source)
    knives = knife_curve(surfaces["before"], [share * bench.mirror.clear_radius for share in PREDICTED_AT])
    zero = None if sheet is None else first_reading(surfaces["before"], sheet)
    return shadows_figure(surfaces, knives.tolist(), unit=length_unit(bench), zero=zero)


def first_reading(tester: KnifeTester, sheet: Readings) -> float:
    """What the first zone of a sheet reads on this surface, from the centre of curvature of the vertex [m]."""
    added = reading_matrix(sheet.zones, tester.radius, tester.geometry, sheet.source) @ tester.error
    return float((target_readings(sheet.zones, tester.geometry, sheet.source) + added)[0])


def measured_shadows(bench: Bench, sheet: Readings, reduction: Reduction) -> Figure:
    """The surface at the knife positions of the first, the middle and the last zone, a perfect one beneath."""
    error, zones = reduction.figure_error, reduction.zones
    surfaces = _surfaces(bench, reduction.radius, {"as read": error, "on target": 0.0 * error}, sheet.source)
    knives = [zones[i].reading for i in (0, len(zones) // 2, len(zones) - 1)]
    return shadows_figure(surfaces, knives, unit=length_unit(bench), zero=knives[0])


def _surfaces(bench: Bench, radius: Floats, errors: Mapping[str, Floats], source: Source) -> dict[str, KnifeTester]:
    geometry, wavelength = bench.mirror.geometry, bench.light.wavelength
    return {name: KnifeTester(radius, error, geometry, wavelength, source) for name, error in errors.items()}


def matched_radii(tester: KnifeTester, knife: float) -> Floats:
    """Radii of the zones that a knife position darkens evenly, increasing, shape (k,) [m]."""
    low = max(tester.geometry.hole_radius, 0.02 * tester.geometry.radius)
    at = np.linspace(low, tester.geometry.radius, 801)
    away = knife_curve(tester, at) - knife
    change = np.flatnonzero(np.sign(away[1:]) != np.sign(away[:-1]))
    part = away[change] / (away[change] - away[change + 1])
    return np.asarray(at[change] + part * (at[1] - at[0]), dtype=float)


def _draw_profile(
    axes: Axes, name: str, tester: KnifeTester, knives: Sequence[float], reach: float, unit: LengthUnit
) -> None:
    a, high = tester.geometry.radius / unit.size, height_unit(0.0)
    r = np.linspace(tester.geometry.hole_radius, tester.geometry.radius, 400)
    error, reach = np.interp(r, tester.radius, tester.error) / high.size, max(reach, 1e-9 / high.size)
    axes.axhline(0.0, color=INK, lw=0.6)
    for side in (1.0, -1.0):
        axes.plot(side * r / unit.size, error, color=BLUE, lw=1.6)
    for place, (letter, knife) in enumerate(zip(LETTERS, knives, strict=False)):
        at = matched_radii(tester, knife)
        # a line of letters for each knife position: zones that lie close together cannot cover each other's
        level = (1.5 + 0.3 * place) * reach
        axes.plot(at / unit.size, np.interp(at, r, error), "o", ms=3.5, color=INK)
        for group in _close_together(at, APART * tester.geometry.radius):
            for radius in group:
                x, y = radius / unit.size, float(np.interp(radius, r, error))
                axes.plot([x, x], [y, level - 0.1 * reach], color=QUIET, lw=0.4)
            axes.text(float(np.mean(group)) / unit.size, level, letter, ha="center", va="center", fontsize=8)
    axes.set_xlim(-1.03 * a, 1.03 * a)
    axes.set_ylim(-1.15 * reach, (1.5 + 0.3 * len(knives)) * reach)
    axes.set_title(name, fontsize=9, loc="left")
    axes.set_ylabel(f"surface [{high.name}]", fontsize=8)


def _close_together(at: Floats, least: float) -> list[Floats]:
    """Increasing radii in groups that share a letter: neighbours less than so far apart [m]."""
    return [group for group in np.split(at, np.flatnonzero(np.diff(at) >= least) + 1) if group.size]


def _draw_shadow(axes: Axes, tester: KnifeTester, knife: float, pixels: int) -> None:
    ray = geometric_shadow(tester, knife, pixels=pixels).brightness
    shown, size = None, pixels
    while shown is None:
        try:
            shown = diffraction_shadow(tester, knife, pixels=size).brightness
        except ValueError:
            if size >= MOST_PIXELS:
                raise
            size *= 2
    blocks = size // pixels
    wave = shown.reshape(pixels, blocks, pixels, blocks).mean(axis=(1, 3))
    half = pixels // 2
    picture = np.concatenate([wave[:half], ray[half:]])
    axes.imshow(picture, cmap="gray", vmin=0.0, vmax=1.3, origin="lower", interpolation="nearest")
    axes.axhline(half - 0.5, color="white", lw=0.4, alpha=0.6)
    axes.axis("off")
