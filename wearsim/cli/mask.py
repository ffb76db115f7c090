"""``wearsim mask``: a zonal mask to print."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wearsim.cli import inputs
from wearsim.cli.options import BenchPath, Options
from wearsim.errors import InputError

if TYPE_CHECKING:
    from wearsim.knifeedge.longitudinal import Source

NAME = "mask"
EXAMPLE = "wearsim mask bench.toml --zones 5 -o mask.pdf"

ZoneCount = Annotated[int, typer.Option("--zones", "-z", min=3, max=40, help="Number of windows.")]
Output = Annotated[
    Path | None,
    typer.Option(
        "-o", "--output", metavar="FILE",
        help="Full-size drawing: .pdf, on several sheets if necessary, or .svg in one piece.",
    ),
]  # fmt: skip
LeastWidth = Annotated[
    str, typer.Option("--least-width", metavar="LENGTH", help='Narrowest window allowed: "5 mm" or "0.2 in".')
]
Bridge = Annotated[str, typer.Option("--bridge", metavar="LENGTH", help="Width of the strip between two windows.")]
FixedSource = Annotated[bool, typer.Option("--fixed-source", help="The light source does not move with the knife.")]


class PaperChoice(StrEnum):
    """Paper that a mask is printed on."""

    a4 = "a4"
    letter = "letter"


PaperOption = Annotated[
    PaperChoice | None,
    typer.Option(
        "--paper",
        help="Paper of the PDF; a larger mask takes several sheets.",
        show_default="letter for inches, else a4",
    ),
]


def command(
    bench: BenchPath, options: Options, zones: ZoneCount = 5, least_width: LeastWidth = "5 mm",
    bridge: Bridge = "2 mm", fixed_source: FixedSource = False, paper: PaperOption = None, output: Output = None,
) -> None:  # fmt: skip
    """A zonal mask to print: windows of equal area."""
    options.reserve({output: (".pdf", ".svg")}, inputs=[bench])
    # the mirror's size is all that counts: a folder whose readings are still to come will do
    pieces = inputs.stated_bench(bench / "bench.toml" if bench.is_dir() else bench)
    from wearsim.bench.units import length_unit
    from wearsim.knifeedge.mask import MaskLimits, design_mask
    from wearsim.show.mask import mask_figure, mask_text, windows_toml
    from wearsim.show.mask_sheets import PAPERS, mask_bytes, sheets_for, sheets_text, usual_paper
    from wearsim.show.notices import waiting_text
    from wearsim.show.text import paragraph

    unit = length_unit(pieces)
    width = inputs.parse_length(least_width, "--least-width", unit, least=0.5e-3)
    limits = MaskLimits(least_width=width, bridge=inputs.parse_length(bridge, "--bridge", unit), unit=unit)
    source: Source = "fixed" if fixed_source else "moving"
    try:
        design = design_mask(zones, pieces.mirror.geometry, pieces.light.wavelength, source, limits)
    except InputError as error:
        raise inputs.by_flag(error, {"zones": "--zones", "bridge": "--bridge"}) from None
    page = usual_paper(unit) if paper is None else PAPERS[paper.value]
    pdf = output if output is not None and output.suffix.lower() == ".pdf" else None
    printed = [paragraph(sheets_text(sheets_for(design, page)))] if pdf else []
    sheet = "\n" + paragraph("Put these lines in the readings sheet, replacing the two lines that begin alike:")
    options.deliver(
        design.to_json,
        table=lambda: "\n".join(
            [
                mask_text(design, unit),
                *printed,
                paragraph(waiting_text(pieces.mirror)),
                sheet,
                windows_toml(design, unit),
            ]
        ),
        figure=lambda: mask_figure(design, unit=unit),
        figures={None if pdf else output: lambda: mask_figure(design, unit=unit)},
        files={pdf: lambda part: part.write_bytes(mask_bytes(design, unit, page))},
    )
    options.messages.cautions(at_the_light=True)
    options.messages.next("reduce", inputs.sheet_of(pieces), "--bench", bench)
