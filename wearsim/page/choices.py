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
from wearsim.show.notices import ON_THE_CARD

COLUMNS = {
    "name": "Choice", "minutes": "Minutes", "expected": "Expected RMS", "after": "RMS after", "edge": "Edge roll after",
    "count": "Spells",
}  # fmt: skip


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
        parts.follow(mirror, {"job", "surface"}, self.job.refresh)
        parts.follow(mirror, {"choices", "session"}, self.choices.refresh)

    def _limits(self) -> None:
        entry = partial(self.mirror.entry, self.mirror.draft.limits)
        with parts.group("row"):
            parts.number("Maximum minutes of work", entry("minutes"), 5, 600)
            counts = {count: str(count) for count in range(1, 5)}
            parts.choice("Maximum number of different strokes", counts, entry("spells"))
            tops = {"either": "either", "tool": "the tool", "mirror": "the mirror"}
            parts.choice("Which piece may be on top", tops, entry("top"))
            parts.choice("Strokes to consider", {"": "those in common use", "any": "any"}, entry("strokes"))

    @ui.refreshable_method
    def job(self) -> None:
        """The button, or how far the search is."""
        with parts.group("stack", aria_live="polite"):
            for note in self.mirror.open_notes():
                parts.says(note, "mark")
            more = " and from what your sessions have shown so far" if self.mirror.sessions else ""
            parts.says(f"It starts from your newest readings{more}.")
            if not parts.is_working(self.mirror.search, "Stop looking"):
                parts.button("What should I do next?", self.mirror.look_for_choices, "main")

    @ui.refreshable_method
    def choices(self) -> None:
        """The choices, a sheet each."""
        found = self.mirror.search.found
        if not found:
            return
        best = found[0]
        if not best["spells"]:
            with parts.sheet("Nothing proposed"):
                parts.says(best["reason"])
                with parts.fold("All numbers"):
                    parts.written(best["text"])
            return
        parts.heading("The choices")
        parts.says(f"RMS now: {best['before']}. In brackets: the band, into which nine of ten cases fall.")
        parts.says(
            "RMS after: with the most likely constants. Expected RMS: with all uncertainties, so usually larger; compare "
            "the choices by it."
        )
        parts.says("Glass taken off cannot be put back; taking too little costs one more session.")
        able = [choice for choice in found if choice["spells"]]
        rows = [{**one, "minutes": f"{one['minutes']:g}", "count": str(len(one["spells"]))} for one in able]
        stop = {"name": "Stop now", "minutes": "0", "expected": best["stopped"], "after": best["before"]}
        rows.append({**stop, "edge": "as now", "count": "0"})
        with parts.group("scroll", tabindex="0"):
            parts.table(COLUMNS, rows)
        with parts.group("cards"):
            for choice in able:
                self._choice(choice)
        parts.caution(*ON_THE_CARD)

    def _choice(self, choice: dict[str, Any]) -> None:
        with parts.sheet(choice["name"]):
            parts.says(f"{counted(choice['minutes'], 'minute')} in {counted(len(choice['spells']), 'spell')}", "strong")
            parts.picture(choice["picture"], f"Surface before and after, and the glass removed: {choice['name']}")
            parts.facts({
                "RMS before": choice["before"], "RMS after": choice["after"], "Expected RMS": choice["expected"],
                "Edge roll after": choice["edge"], "Strehl ratio after": choice["strehl"],
            })  # fmt: skip
            if choice is self.mirror.search.found[0]:
                parts.says(choice["reason"])
            for spell in choice["spells"]:
                parts.says(f"{spell['minutes']:g} min: {spell['title']}, {spell['sizes']}")
                parts.drawing(spell["moving"])
            for warning in choice["warnings"]:
                parts.says(f"Warning: {warning}", "mark")
            take, name = partial(take_to_barrel, self.mirror, choice), choice["name"]
            parts.button("Take this to the barrel", take, "main", aria_label=f"Take to the barrel: {name}")
            parts.button("Change it", lambda: self._change(choice), aria_label=f"Change: {name}")
            with parts.fold("Expected readings and all numbers"):
                parts.written(choice["text"])
            if choice["plot"]:
                with parts.fold("What more minutes and spells would gain"):
                    parts.picture(choice["plot"], "What more minutes and more spells would gain", "lines wide")

    def _change(self, choice: dict[str, Any]) -> None:
        self.mirror.draft.own = calls.own_spells(self.mirror.path, choice["programme"])
        self.mirror.tell("own")
        parts.scroll_to("own-programme")


async def take_to_barrel(mirror: LiveMirror, choice: dict[str, Any]) -> None:
    """A chosen programme into the folder, and to the barrel; not over work that is not recorded."""
    client = context.client
    if mirror.is_begun:
        with ui.dialog() as dialog, ui.card():
            parts.says("Work at the barrel is not recorded yet. Its minutes and readings would be lost.")
            with parts.group("row"):
                parts.button("Keep the present programme", lambda: dialog.submit(False), "main")
                parts.button("Replace it", lambda: dialog.submit(True))
        if not await dialog:
            return
    programme = choice["programme"]
    await asyncio.to_thread(calls.take, mirror.path, programme, choice.get("card", b""))
    mirror.begin_work(choice)
    with client:  # the button itself may be gone by then
        ui.navigate.to(parts.address_of(mirror, "barrel"))
