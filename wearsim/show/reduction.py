"""A reduced sheet as text: zone by zone, in numbers, whether to stop.

The plot of a reduced sheet: the profile with its band above, each zone as the window it is below.

The lower panel stands on the same radii: a bar as wide as its window and as tall as the zone's aberration
in multiples of the tolerable, up for knife readings that are too long. The pale strip is what is tolerable.

What masking the rim would buy: Strehl ratio and light in the core, against the mask's diameter.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from wearsim.knifeedge.astigmatism import Astigmatism
from wearsim.knifeedge.expected import ExpectedReadings
from wearsim.knifeedge.readings import Readings
from wearsim.knifeedge.reduction import Reduction, ZoneReport
from wearsim.knifeedge.stopping import StopAdvice
from wearsim.show.style import BAND, BLUE, INK, QUIET, house, sheet
from wearsim.show.text import columns, paragraph
from wearsim.show.units import MILLIMETRES, Unit, decimal, height_unit, long_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def reduction_text(readings: Readings, reduction: Reduction, advice: StopAdvice, unit: Unit = MILLIMETRES) -> str:
    """Everything to read about a reduced sheet.

    Parameters
    ----------
    readings : Readings
    reduction : Reduction
    advice : StopAdvice
    unit : Unit
        Of radii.
    """
    parts = [zones_text(readings, reduction, unit), numbers_text(readings, reduction, unit)]
    if reduction.astigmatism is not None:
        parts.append(astigmatism_text(reduction.astigmatism))
    parts.append(paragraph(advice.reason[0].upper() + advice.reason[1:] + "."))
    warnings = [paragraph(line, "Warning: ", "         ") for line in reduction.warnings]
    return "\n\n".join([*parts, *(["\n".join(warnings)] if warnings else [])])


def zones_text(readings: Readings, reduction: Reduction, unit: Unit) -> str:
    """Zone by zone: knife position, target, difference, and that over what is tolerable."""
    knife = knife_unit(readings)
    rows = [
        ("Zone", "Window", "Knife", "Target", "Difference", "Of tolerable", ""),
        ("", unit.name, knife.name, knife.name, knife.name, "1: just so", ""),
    ]
    for number, zone in enumerate(reduction.zones, start=1):
        window = f"{unit.number(zone.inner)} - {unit.number(zone.outer)}"
        rows.append((
            str(number), window if zone.outer > zone.inner else unit.number(zone.middle),
            knife.number(zone.reading), knife.number(zone.target),
            f"{knife.number(zone.aberration, '+')} +-{knife.number(zone.sigma)}",
            f"{decimal(zone.multiple, 2, '+')} +-{zone.multiple_sigma:.2f}",
            "" if not zone.is_resolved else "wrong" if abs(zone.multiple) > 1.0 else "seen",
        ))  # fmt: skip
    note = (
        "Knife positions from where the vertex's centre of curvature lies at best focus. Tolerable: the zone's "
        "light misses the middle of the image by the Airy disc's radius. seen: more than the reading can mistake; "
        "wrong: more than that and than is tolerable."
    )
    return "\n".join([*columns(rows, ">>>>>><"), paragraph(note)])


def numbers_text(readings: Readings, reduction: Reduction, unit: Unit = MILLIMETRES) -> str:
    """The figure in numbers, with what the readings leave open."""
    high, knife = height_unit(reduction.surface_pv), knife_unit(readings)

    def band(low_high: tuple[float, float]) -> str:
        return f"{high.number(low_high[0])} to {high.number(low_high[1])} {high.name}"

    low, top = reduction.strehl_band
    rows = [
        ("", "Mean surface", "Spread", "Band, 5-95 %"),
        ("RMS, surface", high.text(reduction.surface_rms), high.text(reduction.surface_rms_sigma),
         band(reduction.surface_rms_band)),
        ("Peak to valley, surface", high.text(reduction.surface_pv), high.text(reduction.surface_pv_sigma),
         band(reduction.surface_pv_band)),
        ("RMS, wavefront", f"{reduction.wavefront_rms_waves:.3f} waves",
         f"{reduction.wavefront_rms_waves_sigma:.3f} waves", ""),
        ("Peak to valley, wavefront", f"{reduction.wavefront_pv_waves:.2f} waves",
         f"{reduction.wavefront_pv_waves_sigma:.2f} waves", ""),
        ("Strehl ratio", f"{reduction.strehl:.3f}", "", f"{low:.3f} to {top:.3f}"),
        ("Conic constant, best fit", decimal(reduction.conic_fit, 3), f"{reduction.conic_sigma:.3f}", ""),
        ("Edge roll (negative: down)", high.text(reduction.edge_roll), high.text(reduction.edge_roll_sigma), ""),
    ]  # fmt: skip
    said = (
        f"The readings settle {reduction.supported:.1f} of {len(reduction.zones) - 1} shapes. One setting is "
        f"good to {knife.text(reduction.setting_sigma)} at 0.35 of the radius ({reduction.setting_origin}). "
        f"The best-fit conic goes with a radius of curvature of {long_unit(unit).text(reduction.radius_fit)} if the stated "
        "one is right; with a free zero no reading can see it. A zone finer than the windows is possible: it "
        "is in the band."
    )
    return "\n".join([*columns(rows, "<>>>", gap=3), paragraph(said)])


def astigmatism_text(seen: Astigmatism) -> str:
    """What the orientations say, in one paragraph."""
    if seen.height_sigma is None:
        text = (
            f"Orientations: a difference alike in every zone would be {abs(seen.height) * 1e9:.0f} nm of "
            "astigmatism at the rim, or a moved scale: one cannot tell"
        )
    else:
        text = (
            f"Orientations: astigmatism of {abs(seen.height) * 1e9:.0f} nm +-{seen.height_sigma * 1e9:.0f} nm of "
            "surface at the rim, if the scale's zero was kept"
        )
    text += f"; what varies from zone to zone would come by chance in {seen.varies_by_chance:.1%} of cases."
    return paragraph(text)


def expected_text(readings: Readings, expected: ExpectedReadings, unit: Unit = MILLIMETRES) -> str:
    """The readings to expect afterwards, zone by zone, in the sheet's own unit.

    Parameters
    ----------
    readings : Readings
        The earlier sheet.
    expected : ExpectedReadings
    unit : Unit
        Of radii.
    """
    knife = knife_unit(readings)
    rows = [("Zone", "Window", "Knife", "Spread"), ("", unit.name, knife.name, knife.name)]
    for i, position in enumerate(expected.positions):
        inner, outer = expected.zones.inner[i], expected.zones.outer[i]
        window = f"{unit.number(inner)} - {unit.number(outer)}" if outer > inner else unit.number(inner)
        rows.append((str(i + 1), window, knife.number(position), f"+-{knife.number(expected.spread[i])}"))
    note = "Readings to expect, counted from the first zone's; spread of one reading, one sigma."
    return "\n".join([*columns(rows, ">>>>"), paragraph(note)])


def knife_unit(readings: Readings) -> Unit:
    """The sheet's own unit, with the decimals that a hundredth of a millimetre needs."""
    decimals = 0
    while readings.unit * 10.0**-decimals > 1.05e-5 and decimals < 6:
        decimals += 1
    return Unit(readings.length_unit, readings.unit, decimals)


TOLERABLE = "#e9eef2"
LEAST_WIDTH = 0.012


def reduction_figure(reduction: Reduction, unit: Unit = MILLIMETRES) -> Figure:
    """Plot a reduced sheet.

    Parameters
    ----------
    reduction : Reduction
    unit : Unit
        Of radii.
    """
    with house():
        figure = sheet(8.5, 6.4)
        profile, zones = figure.subplots(2, 1, sharex=True, height_ratios=[3, 2])
        _profile(profile, reduction, unit)
        _zones(zones, reduction, unit)
        zones.set_xlabel(f"radius on the mirror [{unit.name}]")
        zones.set_xlim(0.0, 1.01 * float(reduction.radius[-1]) / unit.size)
    return figure


def headline(reduction: Reduction) -> str:
    """The figure in two lines."""
    high = height_unit(reduction.surface_pv)
    low, most = reduction.strehl_band
    return (
        f"surface RMS {high.number(reduction.surface_rms)} ± {high.text(reduction.surface_rms_sigma)}, "
        f"wavefront PV {reduction.wavefront_pv_waves:.2f} ± {reduction.wavefront_pv_waves_sigma:.2f} waves,\n"
        f"Strehl ratio {reduction.strehl:.2f} (90 %: {low:.2f} to {most:.2f}), "
        f"conic {decimal(reduction.conic_fit, 2)} ± {reduction.conic_sigma:.2f}"
    )


def _profile(axes: Axes, reduction: Reduction, unit: Unit) -> None:
    high = height_unit(reduction.surface_pv)
    radius = reduction.radius / unit.size
    low, top = reduction.band / high.size
    axes.axhline(0.0, color=INK, linewidth=0.6)
    axes.fill_between(radius, low, top, **BAND, label="90 % of what the readings allow")
    error = reduction.figure_error / high.size
    axes.plot(radius, error, color=BLUE, linewidth=2.0, label="figure error, high is up")
    for edge in (reduction.geometry.hole_radius, reduction.geometry.clear_radius):
        if 0.0 < edge < reduction.radius[-1]:
            axes.axvline(edge / unit.size, color=QUIET, linewidth=0.9, linestyle=":")
    geometry = reduction.geometry
    inside = (reduction.radius >= geometry.hole_radius) & (reduction.radius <= geometry.clear_radius)
    reach = 1.15 * float(np.max(np.abs(np.stack([low, top])[:, inside])))
    axes.set_ylim(-reach, reach)
    axes.set_ylabel(f"surface above the target [{high.name}]")
    axes.legend(loc="best")
    axes.set_title(headline(reduction))


def _zones(axes: Axes, reduction: Reduction, unit: Unit) -> None:
    axes.axhspan(-1.0, 1.0, color=TOLERABLE, linewidth=0.0, zorder=0)
    axes.axhline(0.0, color=INK, linewidth=0.6)
    least = LEAST_WIDTH * float(reduction.radius[-1])
    for zone in reduction.zones:
        _zone(axes, zone, max(zone.outer - zone.inner, least), unit)
    tall = max(abs(zone.multiple) + 1.645 * zone.multiple_sigma for zone in reduction.zones)
    axes.set_ylim(-max(1.6, 1.15 * tall), max(1.6, 1.15 * tall))
    axes.set_ylabel("aberration,\nmultiples of tolerable")
    axes.set_title(
        "zones, their knife reading too long (up) or short; filled: more than the reading can mistake", fontsize=9.5
    )


def _zone(axes: Axes, zone: ZoneReport, width: float, unit: Unit) -> None:
    middle = 0.5 * (zone.inner + zone.outer) / unit.size
    face = BLUE if zone.is_resolved else "white"
    axes.bar(middle, zone.multiple, width / unit.size, facecolor=face, edgecolor=INK, linewidth=0.8)
    give = 1.645 * zone.multiple_sigma
    ends = [zone.multiple - give, zone.multiple + give]
    axes.plot([middle, middle], ends, color="white", linewidth=3.0, solid_capstyle="butt")
    axes.plot([middle, middle], ends, color=INK, linewidth=1.4)


def masking_figure(advice: StopAdvice, unit: Unit = MILLIMETRES) -> Figure:
    """Plot the masking curve of a reduced mirror.

    Parameters
    ----------
    advice : StopAdvice
    unit : Unit
        Of diameters.
    """
    curve = advice.masking
    across = 2.0 * curve.mask_radius / unit.size
    with house():
        figure = sheet(7.0, 4.4)
        axes = figure.subplots()
        low, high = advice.masking_band
        axes.fill_between(across, low, high, **BAND, label="the same, 90 % of what the readings allow")
        axes.plot(
            across,
            curve.worth,
            color=BLUE,
            linewidth=2.0,
            label="light in the core, of the mean surface: Strehl x area",
        )
        axes.plot(
            across, curve.strehl, color=INK, linewidth=1.3, linestyle="--", label="its Strehl ratio inside the mask"
        )
        axes.plot([2.0 * curve.best_radius / unit.size], [float(np.max(curve.worth))], "o", color=BLUE)
        axes.set_ylim(0.0, 1.05)
        axes.set_xlabel(f"diameter left clear by the mask [{unit.name}]")
        axes.set_ylabel("of the perfect, unmasked mirror")
        axes.set_title(advice.reason, fontsize=9.5, wrap=True)
        axes.legend(loc="best")
    return figure
