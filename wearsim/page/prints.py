"""Print and ask: the card and the mask at their true size, and standard questions to the bench."""

from __future__ import annotations

from functools import partial
from urllib.parse import quote

from nicegui import ui

from wearsim.learn.proposal_file import CARD
from wearsim.page import calls, parts
from wearsim.page.live_mirror import LiveMirror
from wearsim.show.numbers import OVERHANG_WORDS
from wearsim.study.questions import QUESTIONS


class PrintView:
    """What can be printed, and what can be asked."""

    def __init__(self, mirror: LiveMirror) -> None:
        self.mirror = mirror

    def show(self) -> None:
        """Card, mask, questions."""
        with parts.sheet("The bench card"):
            if (self.mirror.path / CARD).is_file():
                parts.says("One page to take to the barrel: strokes to scale, minutes, what to check.")
                self._link("Open the card to print", "card")
            else:
                parts.says("There is a card once one of the choices under What next? is taken to the barrel.")
        with parts.sheet("The mask"):
            parts.says("Full size. Print at 100%, not fitted to the page; measure the bar before you cut.")
            self._link("Open the mask to print", "mask")
        with parts.sheet("Questions about your bench"):
            self.questions()
        parts.follow(self.mirror, {"job"}, self.questions.refresh)

    def _link(self, words: str, what: str) -> None:
        ui.link(words, f"/print/{quote(self.mirror.name, safe='')}/{what}", new_tab=True)

    @parts.part
    def questions(self) -> None:
        """The standard questions, or how far the one that was asked is."""
        job = self.mirror.asking
        with parts.group("stack", aria_live="polite"):
            if parts.is_working(job):
                return
            parts.says(f"Each takes a minute or two: many predictions on your bench. {OVERHANG_WORDS}")
            with parts.group("row"):
                for name, question in QUESTIONS.items():
                    ask = partial(self.mirror.run, job, question.words, calls.answer, name)
                    parts.button(question.words, ask)
            parts.answers(job, "The result as a plot")
