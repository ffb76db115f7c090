"""A reduced sheet as text: zone by zone, in numbers, whether to stop."""

from __future__ import annotations

from wearsim.knifeedge.astigmatism import Astigmatism
from wearsim.knifeedge.expected import ExpectedReadings
from wearsim.knifeedge.readings import Readings
from wearsim.knifeedge.report import Reduction
from wearsim.knifeedge.stopping import StopAdvice
from wearsim.show.lengths import MILLIMETRES, Unit, decimal, height_unit, long_unit
from wearsim.show.text import columns, paragraph


def reduction_text(
    readings: Readings, reduction: Reduction, advice: StopAdvice, unit: Unit = MILLIMETRES
) -> str:
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
