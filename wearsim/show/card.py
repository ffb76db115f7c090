"""The bench card: the page to print and take to the barrel."""

from __future__ import annotations

from io import BytesIO

from wearsim.bench.bench import Bench
from wearsim.decide.proposal import Proposal
from wearsim.show.card_content import CardContent, card_content
from wearsim.wear.expected_readings import ReadingsAfter


def card_bytes(
    bench: Bench, proposal: Proposal, readings: ReadingsAfter | None, ending: str = ".pdf", *, as_left: bool = False
) -> bytes:  # fmt: skip
    """The card of a proposal, as the file that holds it.

    Parameters
    ----------
    bench : Bench
    proposal : Proposal
    readings : ReadingsAfter or None
        To expect afterwards.
    ending : str
        ``".pdf"`` or ``".html"``.
    as_left : bool
        Whether the laps were taken as the last session left them.

    Raises
    ------
    ValueError
        For another ending.
    """
    content = card_content(bench, proposal, readings, as_left=as_left)
    if ending.lower() == ".pdf":
        return _pdf(content)
    if ending.lower() == ".html":
        from wearsim.show.card_html import card_html

        return card_html(content).encode("utf-8")
    raise ValueError(f"a card is .pdf or .html, not {ending!r}")


def _pdf(content: CardContent) -> bytes:
    from matplotlib.backends.backend_pdf import PdfPages

    from wearsim.show.card_page import card_pages
    from wearsim.show.style import plot_style

    whole = BytesIO()
    with plot_style(), PdfPages(whole, metadata={"CreationDate": None, "Title": "Bench card"}) as pages:
        for figure in card_pages(content):
            pages.savefig(figure)
    return whole.getvalue()
