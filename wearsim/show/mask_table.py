"""A mask as a table to cut it by."""

from __future__ import annotations

from wearsim.knifeedge.mask import MaskDesign
from wearsim.show.lengths import MILLIMETRES, Unit, fine_unit
from wearsim.show.text import columns, paragraph, text_width


def mask_text(design: MaskDesign, unit: Unit = MILLIMETRES) -> str:
    """The windows of a mask.

    Parameters
    ----------
    design : MaskDesign
    unit : Unit
        Of radii and knife positions.
    """
    knife = fine_unit(unit)
    rows = [
        ("Window", "From", "To", "Width", "Weight", "Knife, perfect", "Across it"),
        ("", unit.name, unit.name, unit.name, "", knife.name, "of tolerable"),
    ]
    for i, (inner, outer) in enumerate(zip(design.zones.inner, design.zones.outer, strict=True)):
        rows.append((
            str(i + 1), unit.number(inner), unit.number(outer), unit.number(outer - inner),
            f"{design.share[i]:.3f}", knife.number(design.aberration[i] - design.aberration[0]),
            f"{design.across[i]:.2f}",
        ))  # fmt: skip
    note = (
        "Knife: what a perfect mirror reads, counted from the first window. Across: how far the perfect "
        "mirror's own aberration runs from edge to edge of the window, over the tolerable width; above 1 the "
        "window darkens unevenly and what is read is its average, which is what reduce takes it for."
    )
    return "\n".join([*columns(rows, ">>>>>>>"), paragraph(note)])


def windows_toml(design: MaskDesign, unit: Unit = MILLIMETRES) -> str:
    """The windows as ``readings.toml`` has them, with the unit that they are in.

    Parameters
    ----------
    design : MaskDesign
    unit : Unit
        Of the sheet: that of its knife positions as well.

    Returns
    -------
    str
        TOML in lines of at most 80 columns: ``length_unit`` and ``windows``.
    """
    cut = Unit(unit.name, unit.size, fine_unit(unit).decimals - 1)
    pairs = zip(design.zones.inner, design.zones.outer, strict=True)
    lines = ["windows = ["]
    for inner, outer in pairs:
        pair = f"[{cut.number(inner)}, {cut.number(outer)}],"
        full = len(lines) == 1 or len(f"{lines[-1]} {pair}") > text_width()
        lines[-1:] = [lines[-1], f"    {pair}"] if full else [f"{lines[-1]} {pair}"]
    return "\n".join([f'length_unit = "{unit.name}"', *lines, "]"])
