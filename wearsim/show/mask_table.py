"""A mask as a table to cut it by."""

from __future__ import annotations

from wearsim.knifeedge.mask import MaskDesign
from wearsim.show.lengths import MILLIMETRES, Unit
from wearsim.show.text import columns, paragraph


def mask_text(design: MaskDesign, unit: Unit = MILLIMETRES) -> str:
    """The windows of a mask.

    Parameters
    ----------
    design : MaskDesign
    unit : Unit
        Of radii.
    """
    rows = [
        ("Window", "From", "To", "Width", "Weight", "Knife, perfect", "Across it"),
        ("", unit.name, unit.name, unit.name, "", "mm", "of tolerable"),
    ]
    for i, (inner, outer) in enumerate(zip(design.zones.inner, design.zones.outer, strict=True)):
        rows.append((
            str(i + 1), unit.number(inner), unit.number(outer), unit.number(outer - inner),
            f"{design.share[i]:.3f}", f"{(design.aberration[i] - design.aberration[0]) * 1e3:.3f}",
            f"{design.across[i]:.2f}",
        ))  # fmt: skip
    note = (
        "Knife: what a perfect mirror reads, counted from the first window. Across: how far the perfect "
        "mirror's own aberration runs from edge to edge of the window, over the tolerable width; above 1 the "
        "window darkens unevenly and what is read is its average, which is what reduce takes it for."
    )
    return "\n".join([*columns(rows, ">>>>>>>"), paragraph(note)])


def windows_toml(design: MaskDesign) -> str:
    """The windows as a line of ``readings.toml`` in millimetres."""
    pairs = zip(design.zones.inner * 1e3, design.zones.outer * 1e3, strict=True)
    # between the numbers of a pair a blank that is not broken at
    listed = ", ".join(f"[{inner:.2f},\xa0{outer:.2f}]" for inner, outer in pairs)
    return paragraph(f"{listed}]", "windows = [", " " * 11).replace("\xa0", " ")
