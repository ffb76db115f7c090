"""A reduced sheet as it is read and plotted: zone by zone, in numbers, whether to stop, what masking the rim would buy."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from wearsim.bench.personal_units import height_text, height_unit
from wearsim.bench.units import MILLIMETRES, LengthUnit, decimal
from wearsim.knifeedge.astigmatism import Astigmatism
from wearsim.knifeedge.readings import Readings
from wearsim.knifeedge.reduction import Reduction, ZoneReport
from wearsim.knifeedge.stopping import StopAdvice
from wearsim.learn.known_figure import KnownFigure
from wearsim.show.expected_readings import zone_name
from wearsim.show.numbers import figure_rows, long_unit
from wearsim.show.style import BAND, BAND_BEFORE, BEFORE, BLUE, INK, QUIET, new_figure, plot_style
from wearsim.show.text import OUTSIDE_BAND, band_words, is_outside, paragraph, sentence, table, warnings_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WITHIN: dict[str, Any] = {
    "facecolor": "#dfe5ea",
    "edgecolor": QUIET,
    "linewidth": 0.8,
    "linestyle": (0, (4, 3)),
    "zorder": 0,
}
SIGMAS_90 = 1.645
SETTING_ORIGINS = {
    "given": "as stated on the sheet", "repeats": "estimated from your repeats",
    "assumed": "assumed, then adjusted to fit the readings",
}  # fmt: skip
# Standard deviations that a best-fit conic is off the target by, to be called off. A judgement.
CLEARLY = 2.0


def reduction_text(
    readings: Readings, reduction: Reduction, advice: StopAdvice, unit: LengthUnit = MILLIMETRES,
    known: KnownFigure | None = None,
) -> str:  # fmt: skip
    """Everything to read about a reduced sheet, and what all sessions together give, if there are any."""
    parts = [
        reduced_zones_text(readings, reduction, unit),
        reduced_numbers_text(readings, reduction, unit),
        "" if reduction.astigmatism is None else astigmatism_text(reduction.astigmatism),
        "" if known is None else known_text(known, unit),
        paragraph(sentence(advice.reason)),
        warnings_text(reduction.warnings),
    ]
    return "\n\n".join(part for part in parts if part)


def reduced_zones_text(readings: Readings, reduction: Reduction, unit: LengthUnit) -> str:
    """Zone by zone: knife position, target, difference, and that as a multiple of the tolerance."""
    knife = knife_unit(readings)
    heads = ["Zone", f"Window\n{unit.name}", f"Knife\n{knife.name}", f"Target\n{knife.name}"]
    heads += [f"Difference\n{knife.name}", "Times tolerance\n1 = limit", ""]
    rows = [_zone_row(number, zone, knife, unit) for number, zone in enumerate(reduction.zones, start=1)]
    note = (
        "Knife positions are relative to the centre of curvature of the vertex, at best focus. Tolerance: the error "
        "at which light from the zone misses the centre of the image by one Airy-disc radius. real: larger than the "
        "uncertainty of the reading; too large: also larger than the tolerance."
    )
    return f"{table(heads, rows, words=(6,))}\n{paragraph(note)}"


def _zone_row(number: int, zone: ZoneReport, knife: LengthUnit, unit: LengthUnit) -> Sequence[str]:
    return (
        str(number),
        zone_name(zone.inner, zone.outer, unit),
        knife.number(zone.reading),
        knife.number(zone.target),
        f"{knife.number(knife.rounded(zone.reading) - knife.rounded(zone.target), '+')} +-{knife.number(zone.sigma)}",
        f"{decimal(zone.multiple, 2, '+')} +-{zone.multiple_sigma:.2f}",
        "" if not zone.is_resolved else "too large" if abs(zone.multiple) > 1.0 else "real",
    )


def reduced_numbers_text(readings: Readings, reduction: Reduction, unit: LengthUnit = MILLIMETRES) -> str:
    """The figure in numbers, with their uncertainty."""
    rows, outside = [], ""
    for number in figure_rows(height_unit(reduction.surface_pv), unit, conic_places=3):
        spread = getattr(reduction, f"{number.name.removesuffix('_fit')}_sigma", None)
        band = getattr(reduction, f"{number.name}_band", None)
        if band is not None and is_outside(getattr(reduction, number.name), band):
            outside = f" {OUTSIDE_BAND}, as here."
        cells = (
            "" if spread is None else number.written(spread),
            "" if band is None else band_words(band, number.written),
        )
        rows.append((number.label, number.written(getattr(reduction, number.name)), *cells))
    knife = knife_unit(readings)
    note = (
        f"{_above(reduction)} Edge roll: the rim relative to the run of the surface just inside it. Rim height: the rim "
        "relative to the sphere that best fits the inner 80%. "
        f"The {len(reduction.zones)} zones can show {len(reduction.zones) - 1} independent shapes of error; the readings "
        f"determine {reduction.supported:.1f} of them. A single "
        f"knife setting has a standard deviation of {knife.text(reduction.setting_sigma)} at 0.35 of the radius "
        f"({SETTING_ORIGINS[reduction.setting_origin]}). The best-fit conic has a radius of curvature of "
        f"{long_unit(unit).text(reduction.radius_fit)}, if the stated radius is right: readings with an arbitrary zero "
        "cannot show it. The windows cannot show a zone narrower than themselves; the band allows for one."
        f"{outside}"
    )
    return f"{table(('', 'Mean surface', 'Spread', 'Band, 5-95%'), rows)}\n{paragraph(note)}"


def _above(reduction: Reduction) -> str:
    """What heights are relative to, and why a zone may look otherwise in the tester."""
    if reduction.geometry.conic == 0.0:
        return "Heights are above the target, a sphere."
    target = "paraboloid" if reduction.geometry.conic == -1.0 else "conic"
    return (
        f"Heights are above the target {target}, not a sphere: a zone that looks raised in the tester may be low here."
    )


def correction_words(reduction: Reduction) -> str:
    """What kind of error the best-fit conic is, where it is clearly off the target; empty for a target sphere."""
    off, target = reduction.conic_fit - reduction.geometry.conic, reduction.geometry.conic
    if target == 0.0 or abs(off) <= CLEARLY * reduction.conic_sigma:
        return ""
    return (
        f"As a whole this surface is {'overcorrected' if off < 0.0 else 'undercorrected'}: {reduction.conic_fit:.2f}."
    )


def known_text(known: KnownFigure, unit: LengthUnit = MILLIMETRES) -> str:
    """The figure from all sessions beside that of the last reading alone, where they disagree, and what to read next."""
    high = height_unit(max(known.known.rms, known.read.rms))
    words = (band_words(one.band.tolist(), high.number) for one in (known.known, known.read))
    lines = [
        f"From all sessions together the surface is {high.text(known.known.rms)} RMS (90%: {next(words)}); from this "
        f"test alone {high.text(known.read.rms)} ({next(words)}). Predictions and proposals start from all sessions."
    ]
    lines += [
        f"They disagree between {unit.number(first)} and {unit.short(last)} from the centre, where all sessions "
        f"together give a surface up to {high.text(abs(most))} {'higher' if most > 0 else 'lower'}."
        for first, last, most in known.apart
    ]
    if known.next_window is not None:
        inner, outer = known.next_window
        lines.append(
            f"Next time also read a window from {unit.number(inner)} to {unit.short(outer)}: your present windows "
            "hardly show what your strokes did there."
        )
    return paragraph(" ".join(lines))


def astigmatism_text(seen: Astigmatism) -> str:
    """What the orientations show, in one paragraph."""
    if seen.height_sigma is None:
        text = (
            f"Orientations: a difference that is the same in every zone is either {height_text(abs(seen.height))} of "
            "astigmatism at the rim or a shifted scale; the readings cannot show which"
        )
    else:
        text = (
            f"Orientations: astigmatism of {height_text(abs(seen.height))} +-{height_text(seen.height_sigma)} of "
            "surface at the rim, if the scale's zero was kept"
        )
    text += f"; the variation from zone to zone would arise by chance in {seen.varies_by_chance:.1%} of cases. "
    return paragraph(text + axis_words(seen))


def axis_words(seen: Astigmatism) -> str:
    """Where the high diameter is on the glass, or what it would take to know."""
    if seen.azimuth is None:
        return "Two orientations do not give its axis: test in a third, halfway between them, and in one of the three twice."
    place = (
        f"{np.degrees(seen.azimuth) % 180.0:.0f} deg counterclockwise from the mark on the mirror, looking at its face"
    )
    words = f"The high diameter is {place}."
    if seen.is_measured:
        return words + " predict --engine planar starts from it."
    why = "no orientation was read twice" if seen.height_sigma is None else "it is less than twice its uncertainty"
    return f"{words} Predictions leave it out: {why}."


def knife_unit(readings: Readings) -> LengthUnit:
    """The sheet's own unit, with the decimals that a hundredth of a millimetre needs."""
    decimals = 0
    while readings.unit * 10.0**-decimals > 1.05e-5 and decimals < 6:
        decimals += 1
    return LengthUnit(readings.length_unit, readings.unit, decimals)


def reduction_figure(reduction: Reduction, unit: LengthUnit = MILLIMETRES, known: KnownFigure | None = None) -> Figure:
    """Plot a reduced sheet: the profile with its band above, each zone as the window it is below.

    Where there are sessions, the figure that all of them give together is drawn over it.

    The lower panel has the same radii: where the light of each window passes the centre of the image, in multiples
    of the limit, as a point with a foot as wide as the window and a line for its band; up for knife readings that
    are too long. Light that meets the grey strip is within the limit.
    """
    with plot_style():
        figure = new_figure(8.5, 6.4)
        profile, zones = figure.subplots(2, 1, sharex=True, height_ratios=[3, 2])
        _profile(profile, reduction, unit)
        if known is not None:
            _known(profile, known, height_unit(reduction.surface_pv), unit)
        _zones(zones, reduction, unit)
        zones.set_xlabel(f"radius on the mirror [{unit.name}]")
        zones.set_xlim(0.0, 1.01 * float(reduction.radius[-1]) / unit.size)
    return figure


def _headline(reduction: Reduction) -> str:
    """The figure in two lines."""
    high = height_unit(reduction.surface_pv)
    low, most = reduction.strehl_band
    return (
        f"surface RMS {high.number(reduction.surface_rms)} ± {high.text(reduction.surface_rms_sigma)}, "
        f"wavefront PV {reduction.wavefront_pv_waves:.2f} ± {reduction.wavefront_pv_waves_sigma:.2f} waves,\n"
        f"Strehl ratio {reduction.strehl:.2f} (90%: {low:.2f} to {most:.2f}), "
        f"conic {decimal(reduction.conic_fit, 2)} ± {reduction.conic_sigma:.2f}"
    )


def _profile(axes: Axes, reduction: Reduction, unit: LengthUnit) -> None:
    high = height_unit(reduction.surface_pv)
    radius = reduction.radius / unit.size
    low, top = reduction.band / high.size
    axes.axhline(0.0, color=INK, linewidth=0.6)
    axes.fill_between(radius, low, top, **BAND, label="90% band (these readings)")
    error = reduction.figure_error / high.size
    axes.plot(radius, error, color=BLUE, linewidth=2.0, label="figure error, high = up")
    for edge in (reduction.geometry.hole_radius, reduction.geometry.clear_radius):
        if 0.0 < edge < reduction.radius[-1]:
            axes.axvline(edge / unit.size, color=QUIET, linewidth=0.9, linestyle=":")
    geometry = reduction.geometry
    inside = (reduction.radius >= geometry.hole_radius) & (reduction.radius <= geometry.clear_radius)
    reach = 1.15 * float(np.max(np.abs(np.stack([low, top])[:, inside])))
    axes.set_ylim(-reach, reach)
    axes.set_ylabel(f"surface above the target [{high.name}]")
    axes.legend(loc="best")
    axes.set_title(_headline(reduction))


def _known(axes: Axes, known: KnownFigure, high: LengthUnit, unit: LengthUnit) -> None:
    """The figure from all sessions, with its band."""
    radius, error, sigma = (
        known.radius / unit.size,
        *(one / high.size for one in (known.known.error, known.known.sigma)),
    )
    ends = (error - SIGMAS_90 * sigma, error + SIGMAS_90 * sigma)
    axes.fill_between(radius, *ends, **BAND_BEFORE, label="90% band (all sessions)")
    axes.plot(radius, error, **BEFORE, label="from all sessions together")
    reach = max(abs(axes.get_ylim()[1]), 1.1 * float(np.abs(ends).max()))
    axes.set_ylim(-reach, reach)
    axes.legend(loc="best", fontsize=8)


def _zones(axes: Axes, reduction: Reduction, unit: LengthUnit) -> None:
    axes.axhspan(-1.0, 1.0, **WITHIN)
    axes.axhline(0.0, color=INK, linewidth=0.6)
    axes.annotate("limit", (0.0, 1.0), (4, 3), textcoords="offset points", color=QUIET, fontsize=9)
    for zone in reduction.zones:
        _zone(axes, zone, unit)
    tall = max(abs(zone.multiple) + SIGMAS_90 * zone.multiple_sigma for zone in reduction.zones)
    axes.set_ylim(-max(1.6, 1.15 * tall), max(1.6, 1.15 * tall))
    axes.set_ylabel("reading off target,\ntimes the limit")
    axes.set_title("up: reading too long; filled: larger than its uncertainty", fontsize=9.5)


def _zone(axes: Axes, zone: ZoneReport, unit: LengthUnit) -> None:
    inner, outer = zone.inner / unit.size, zone.outer / unit.size
    middle, half = 0.5 * (inner + outer), SIGMAS_90 * zone.multiple_sigma
    axes.plot([inner, outer], [zone.multiple, zone.multiple], color=INK, linewidth=1.0, solid_capstyle="butt")
    axes.plot([middle, middle], [zone.multiple - half, zone.multiple + half], color=INK, linewidth=1.4)
    face = BLUE if zone.is_resolved else "white"
    axes.plot([middle], [zone.multiple], "o", markersize=6.5, color=face, markeredgecolor=INK, markeredgewidth=1.2)


def masking_figure(advice: StopAdvice, unit: LengthUnit = MILLIMETRES) -> Figure:
    """Plot what masking the rim would gain: Strehl ratio and light in the core, against the mask's diameter."""
    curve = advice.masking
    across = 2.0 * curve.mask_radius / unit.size
    with plot_style():
        figure = new_figure(7.0, 4.4)
        axes = figure.subplots()
        low, high = advice.masking_band
        axes.fill_between(across, low, high, **BAND, label="the same, 90% band")
        label = "light in the core, for the mean surface: Strehl x area"
        axes.plot(across, curve.worth, color=BLUE, linewidth=2.0, label=label)
        label = "its Strehl ratio inside the mask"
        axes.plot(across, curve.strehl, color=INK, linewidth=1.3, linestyle="--", label=label)
        axes.plot([2.0 * curve.best_radius / unit.size], [float(np.max(curve.worth))], "o", color=BLUE)
        axes.set_ylim(0.0, 1.05)
        axes.set_xlabel(f"diameter left clear by the mask [{unit.name}]")
        axes.set_ylabel("relative to the perfect, unmasked mirror")
        axes.set_title(advice.reason, fontsize=9.5, wrap=True)
        axes.legend(loc="best")
    return figure
