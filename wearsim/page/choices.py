"""What next: looking for what to do, the choices beside each other, a programme of one's own."""

from __future__ import annotations

import asyncio
from functools import partial
from typing import Any

from nicegui import context, ui

from wearsim.bench.units import counted
from wearsim.kernels._jit import is_compiled
from wearsim.page import calls, parts
from wearsim.page.live_mirror import LiveMirror
from wearsim.page.own_programme import OwnProgramme
from wearsim.show.choices import COLUMNS, NOTE, choice_rows
from wearsim.show.notices import ON_THE_CARD

TAKE = "Take this to the barrel"


class ChoicesView:
    """Limits, one button, the choices."""

    def __init__(self, mirror: LiveMirror) -> None:
        self.mirror = mirror

    def show(self) -> None:
        """The button first, then what was found, then a programme of one's own."""
        mirror = self.mirror
        if not is_compiled():
            parts.caution("First use on this machine: the first answer takes about a minute longer.")
        with parts.sheet("Look for strokes"):
            self._limits()
            self.job()
        self.choices()
        OwnProgramme(mirror).show()
        ui.link(parts.CHANGE, parts.address_of(mirror, "answers"))
        parts.follow(mirror, {"job", "surface", "work", "session"}, self.job.refresh)
        parts.follow(mirror, {"choices", "session"}, self._new_choices)

    def _new_choices(self) -> None:
        """Shown; the first of them is brought into view where nobody is busy farther down."""
        self.choices.refresh()
        if len(self.mirror.search.found) == 1:
            parts.scroll_to("proposed", "scrollY < 500")

    def _limits(self) -> None:
        entry = partial(self.mirror.entry, self.mirror.draft.limits)
        with parts.group("row"):
            parts.number("Maximum minutes of work", entry("minutes"), 5, 600)
            parts.choice("Maximum different strokes", {count: str(count) for count in range(1, 5)}, entry("spells"))
            tops = {"either": "either", "tool": "the tool", "mirror": "the mirror"}
            parts.choice("Which piece may be on top", tops, entry("top"))
            parts.choice("Strokes to consider", {"": "those in common use", "any": "any"}, entry("strokes"))

    @parts.part
    def job(self) -> None:
        """The button, or how far the search is."""
        with parts.group("stack", aria_live="polite"):
            for note in self.mirror.open_notes():
                parts.says(note, "mark")
            self._unrecorded()
            more = " and from what your sessions have shown so far" if self.mirror.sessions else ""
            if not parts.is_working(self.mirror.search, "Stop looking"):
                with parts.group("row"):
                    parts.button("What should I do next?", self.mirror.look_for_choices, "main")
                    parts.says(f"It starts from your newest readings{more}.")

    def _unrecorded(self) -> None:
        """Work that the answer would leave out, and the way to it."""
        work = self.mirror.draft.work
        if work is not None and self.mirror.draft.is_begun:
            step, words = ("barrel", "Back to the barrel") if work.ended is None else ("after", "Record it")
            done = f"{sum(work.minutes()):.3g} of {counted(sum(work.planned), 'minute')}"
            parts.says(f"You have work that is not recorded yet: {done}. The search knows nothing of it.", "mark")
            parts.button(words, partial(ui.navigate.to, parts.address_of(self.mirror, step)))

    @parts.part
    def choices(self) -> None:
        """What is proposed first, then all choices beside each other, then a sheet for each other one."""
        found = self.mirror.search.found
        able = [choice for choice in found if choice["spells"]]
        best = next((choice for choice in able if choice["is_next"]), found[0] if found else {})
        if best and not best["waits"]:
            self._choice(best, found[0]["reason"])
        if able:
            parts.heading("The choices")
            for edge in dict.fromkeys(choice["edge_now"] for choice in able):
                parts.says(f"{edge} Where a choice changes that, its card says so." if edge else "", "strong")
            parts.table(COLUMNS, choice_rows(able, found[0]))
            parts.says(able[-1]["alike"], "strong")
            parts.says(NOTE)
            with parts.group("cards"):
                for choice in able:
                    if choice is not best:
                        self._choice(choice)
            parts.caution(*ON_THE_CARD)

    def _choice(self, choice: dict[str, Any], reason: str = "") -> None:
        """One of them; with a reason the one that is recommended."""
        with parts.sheet(choice["title"]).props("id=proposed" if reason else ""):
            with parts.group("beside"):
                with parts.group("stack"):
                    if choice["spells"]:
                        parts.says(choice["before_all"] if reason else "", "strong")
                        self._programme(choice, "main" if reason and not choice["before_all"] else "plain")
                    parts.says(reason or choice["why_not"])
                    parts.warn(choice["warnings"])
                if choice["spells"]:
                    parts.picture(choice["picture"], f"Surface before and after, glass removed: {choice['name']}")
                    ui.html("".join(spell["moving"] for spell in choice["spells"]), sanitize=False)
            with parts.fold("Expected readings and all numbers"):
                parts.written(choice["text"])
            if choice["plot"]:
                with parts.fold("What more minutes and spells would gain"):
                    parts.picture(choice["plot"], "What more minutes and more spells would gain", "lines wide")

    def _programme(self, choice: dict[str, Any], kind: parts.Kind) -> None:
        """What is to be done and the way to the barrel, then what it will do."""
        parts.says(choice["work"], "strong")
        for spell in choice["spells"]:
            parts.says(f"{spell['minutes']:g} min: {spell['title']}, {spell['sizes']}", "strong")
        take, change = partial(take_to_barrel, self.mirror, choice), partial(self._change, choice)
        with parts.group("row"):
            parts.button(TAKE, take, kind, aria_label=f"{TAKE}: {choice['name']}")
            parts.button("Change it", change, aria_label=f"Change it: {choice['name']}")
        parts.facts({
            "RMS before": choice["before"], "RMS after": choice["after"], "Expected RMS": choice["expected"],
            "Edge roll after": choice["edge"], "Strehl ratio after": choice["strehl"],
        })  # fmt: skip

    def _change(self, choice: dict[str, Any]) -> None:
        self.mirror.draft.own = [dict(spell) for spell in choice["own"]]
        self.mirror.tell("own")
        parts.scroll_to("own-programme")


async def take_to_barrel(mirror: LiveMirror, choice: dict[str, Any]) -> None:
    """A chosen programme into the folder, and to the barrel; not over work that is not recorded."""
    client = context.client
    if mirror.draft.is_begun:
        with ui.dialog() as dialog, ui.card():
            parts.says("Work at the barrel is not recorded yet. Its minutes and readings would be lost.")
            with parts.group("row"):
                parts.button("Keep the present programme", lambda: dialog.submit(False), "main")
                parts.button("Replace it", lambda: dialog.submit(True))
                parts.button("Record it first", lambda: ui.navigate.to(parts.address_of(mirror, "after")))
        if not await dialog:
            return
    programme = choice["programme"]
    await asyncio.to_thread(calls.take, mirror.path, programme, choice.get("card", b""))
    mirror.begin_work(choice)
    if not client.is_deleted:  # the button itself may be gone by then, and so may be whoever pressed it
        client.open(parts.address_of(mirror, "barrel"))
