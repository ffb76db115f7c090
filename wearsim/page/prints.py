"""Print and ask: the card and the mask at their true size, and ready questions to the bench."""

from __future__ import annotations

from functools import partial
from urllib.parse import quote

from nicegui import ui

from wearsim.page import calls, parts
from wearsim.page.live_mirror import LiveMirror
from wearsim.study.questions import QUESTIONS


class PrintView:
    """What can be printed, and what can be asked."""

    def __init__(self, mirror: LiveMirror) -> None:
        self.mirror = mirror

    def show(self) -> None:
        """Card, mask, questions."""
        with parts.sheet("The bench card"):
            if (self.mirror.path / calls.CARD).is_file():
                parts.says("What to do, to take to the barrel: strokes to scale, minutes, what to check.")
                self._link("Open the card to print", "card")
            else:
                parts.says("A card is made when one of the choices under What next is taken to the barrel.")
        with parts.sheet("The mask"):
            parts.says("At 1:1. Print it at 100 %, not fitted to the page, and measure the bar on it before cutting.")
            self._link("Open the mask to print", "mask")
        with parts.sheet("Questions about this bench"):
            self.questions()
        parts.follow(self.mirror, {"job"}, self.questions.refresh)

    def _link(self, words: str, what: str) -> None:
        ui.link(words, f"/print/{quote(self.mirror.name, safe='')}/{what}", new_tab=True)

    @ui.refreshable_method
    def questions(self) -> None:
        """The ready questions, or how far the one that was asked is."""
        job = self.mirror.asking
        with parts.group("stack", aria_live="polite"):
            if parts.is_working(job):
                return
            parts.says("Each is worked out from many cases on your bench, which takes a few minutes.")
            with parts.group("row"):
                for name, question in QUESTIONS.items():
                    ask = partial(self.mirror.run, job, question.words, calls.answer, self.mirror.path, name)
                    parts.button(question.words, ask)
            for found in job.found:
                parts.picture(found["picture"], QUESTIONS[found["name"]].words)
                parts.written(found["text"])
