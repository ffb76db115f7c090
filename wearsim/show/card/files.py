"""The files that hold a bench card: PDF, and HTML with the same pages as pictures and their text beneath them."""

from __future__ import annotations

from base64 import b64encode
from html import escape
from io import BytesIO

import matplotlib
from matplotlib.backends.backend_pdf import PdfPages

from wearsim.bench.bench import Bench
from wearsim.errors import InputError
from wearsim.show.card.content import card_content
from wearsim.show.card.page import card_pages
from wearsim.show.card.pen import HEIGHT, WIDTH, Pen
from wearsim.show.card.work import CardWork
from wearsim.show.style import plot_style
from wearsim.wear.expected_readings import ReadingsAfter

# On a screen a page is as wide as the window goes; on paper each has a sheet of its own, as large as in the PDF.
HTML = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1"><title>Bench card</title>
<style>
@page {{ margin: 0; }}
body {{ margin: 0; color: #000; background: #fff; font: 1rem/1.4 sans-serif; }}
img {{ display: block; width: 100%; max-width: 60rem; margin: 0 auto; }}
details {{ max-width: 56rem; margin: 0 auto; padding: 1rem; }}  p {{ margin: .2em 0; }}
@media print {{
  img {{ width: {width}mm; max-width: 100%; max-height: {height}mm; object-fit: contain; break-inside: avoid; }}
  img + img {{ break-before: page; }}  details {{ display: none; }}
}}
</style></head><body>
{pages}<details><summary>The card as text</summary>
{text}</details>
</body></html>
"""


MOST_SPELLS = 40
"""On one card; a session has one to three. A judgement."""


def card_bytes(bench: Bench, proposal: CardWork, readings: ReadingsAfter | None, ending: str = ".pdf") -> bytes:
    """The card of a proposal, or of a programme that was predicted, as the file that holds it.

    Parameters
    ----------
    readings : ReadingsAfter or None
        To expect afterwards.
    ending : str
        ``".pdf"`` or ``".html"``.

    Raises
    ------
    ValueError
        For another ending.
    InputError
        For more spells than a card is of use for.
    """
    spells = len(proposal.programme.spells)
    if spells > MOST_SPELLS:
        raise InputError(f"a card of {spells} spells", expected=f"at most {MOST_SPELLS}: split the programme")
    written = {".pdf": _pdf, ".html": _html}.get(ending.lower())
    if written is None:
        raise ValueError(f"a card is .pdf or .html, not {ending!r}")
    return written(card_pages(card_content(bench, proposal, readings)))


def _pdf(pages: list[Pen]) -> bytes:
    stream = BytesIO()
    with plot_style(), PdfPages(stream, metadata={"CreationDate": None, "Title": "Bench card"}) as file:
        for page in pages:
            file.savefig(page.figure)
    return stream.getvalue()


def _html(pages: list[Pen]) -> bytes:
    pictures = "".join(
        f'<img alt="Bench card, page {number} of {len(pages)}; its text is below" '
        f'src="data:image/svg+xml;base64,{b64encode(_svg(page)).decode("ascii")}">\n'
        for number, page in enumerate(pages, start=1)
    )
    text = "".join(f"<p>{escape(line)}</p>\n" for page in pages for line in page.text)
    return HTML.format(width=WIDTH, height=HEIGHT, pages=pictures, text=text).encode("utf-8")


def _svg(page: Pen) -> bytes:
    """A page as SVG, its letters as paths: it looks the same wherever its font is missing."""
    stream = BytesIO()
    with plot_style(), matplotlib.rc_context({"svg.fonttype": "path"}):
        page.figure.savefig(stream, format="svg", metadata={"Date": None, "Title": "Bench card"})
    return stream.getvalue()
