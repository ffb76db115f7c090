"""Print: the card and the mask at their true size."""

from __future__ import annotations

from urllib.parse import quote

from nicegui import ui

from wearsim.page import calls
from wearsim.page.live_mirror import LiveMirror
from wearsim.page.parts import says, sheet


class PrintView:
    """What can be printed."""

    def __init__(self, mirror: LiveMirror) -> None:
        self.mirror = mirror

    def show(self) -> None:
        """Card and mask."""
        with sheet("The bench card"):
            if (self.mirror.path / calls.CARD).is_file():
                says("What to do, to take to the barrel: strokes to scale, minutes, what to check.")
                self._link("Open the card to print", "card")
            else:
                says("A card is made when one of the choices under What next is taken to the barrel.")
        with sheet("The mask"):
            says("At 1:1. Print it at 100 %, not fitted to the page, and measure the bar on it before cutting.")
            self._link("Open the mask to print", "mask")

    def _link(self, words: str, what: str) -> None:
        ui.link(words, f"/print/{quote(self.mirror.name, safe='')}/{what}", new_tab=True)
