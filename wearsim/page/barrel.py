"""At the barrel: one spell at a time, its stroke moving, the minutes left; nothing is lost by a reload."""

from __future__ import annotations

import json
from functools import partial
from math import ceil
from typing import TYPE_CHECKING, Any

from nicegui import ui

from wearsim.learn.barrel_work import Work
from wearsim.page import calls, parts
from wearsim.page.live_mirror import LiveMirror
from wearsim.show.moving_stroke import before, reminders
from wearsim.show.notices import ON_THE_CARD, waiting_text
from wearsim.show.text import upper

if TYPE_CHECKING:
    from wearsim.page.server import Room


def tablet_code(mirror: LiveMirror, room: Room) -> None:
    """The code that brings a tablet here."""
    with parts.fold("On a tablet by the barrel"):
        if not room.door.address:
            parts.says("Start the page with: wearsim page --share. Then a code to scan is shown here.")
            return
        import segno

        link = room.door.link(parts.address_of(mirror, "barrel"), room.door.address)
        parts.says("Scan this with a tablet on the same network. Whoever has the address can use the page.")
        code = segno.make(link, error="m").svg_inline(scale=6, border=4, dark="#000", light="#fff")
        ui.html(f'<div role="img" aria-label="Code with the address of this view">{code}</div>', sanitize=False)
        parts.says(link)


class BarrelView:
    """One programme being worked."""

    def __init__(self, mirror: LiveMirror) -> None:
        assert mirror.bench is not None
        self.mirror, self.bench = mirror, mirror.bench
        self.plan: list[dict[str, Any]] = []
        self.planned: Work | None = None
        self.signs = {"sound": True, "flash": True}

    def show(self) -> None:
        """Large, and the same on every screen."""
        ui.add_body_html(f"<script>{(parts.ASSETS / 'barrel.js').read_text(encoding='utf-8')}</script>")
        self.work()
        parts.says("Set the tablet to stay on: this browser lets it sleep.", "quiet").props("id=awake-note hidden")
        parts.follow(self.mirror, {"work", "session"}, self.work.refresh)
        ui.link(parts.CHANGE, parts.address_of(self.mirror, "answers"))

    @parts.part
    def work(self) -> None:
        """The present spell, or the end."""
        work = self.mirror.draft.work
        if work is not None and work is not self.planned:  # another programme may be taken in another browser
            self.plan, self.planned = calls.work_plan(self.mirror.path, work.programme), work
        with parts.group("barrel stack"):
            if work is None:
                parts.says("No programme has been taken to the barrel yet.")
                parts.button("What next?", lambda: ui.navigate.to(parts.address_of(self.mirror, "next")), "main")
            elif work.ended is not None:
                self._ended(work)
            else:
                spell = self.plan[work.spell]
                if not (work.pressing or work.is_at_stop):
                    self._spell(work, spell)
                elif not work.pressing:
                    deeds = {"end": "End of the session", "go_on": "Go on without a test"}
                    worked = f"{work.stop:g} of {sum(work.planned):g} minutes worked"
                    self._between(work, f"Stop here: test and record; {worked}.", deeds)
                else:
                    ways = {"press": "Begin pressing", "fits": "Pressed already: on to spell 1"}
                    on = {"fits": "It fits: on to spell 1", "unpress": "Not yet: stop the clock"}
                    self._between(work, work.first, on if work.pressed_since else ways)
                self._tell_browser(work, spell)

    def _between(self, work: Work, words: str, deeds: dict[str, str]) -> None:
        """Before the first spell while the lap is pressed, by the clock; or at a stop: the ways on, the main one first."""
        with parts.group("at-work"), parts.sheet():
            parts.says(words, "reminder")
            if work.pressing:
                self._clock(work)
            with parts.group("row deeds"):
                for name, text in deeds.items():
                    self._deed(text, name, work, "main" if name == next(iter(deeds)) else "plain")

    def _clock(self, work: Work) -> None:
        left = ceil(work.left)
        made = parts.says(f"{left // 60}:{left % 60:02d}", "minutes")
        parts.with_props(made, {"id": "minutes-left", "role": "timer", "aria_label": "Minutes left"})

    def _spell(self, work: Work, spell: dict[str, Any]) -> None:
        with parts.group("at-work"):
            with parts.group("words"):
                push = f", push {spell['push']}" * bool(spell["rate"])  # as the card has it, before the first stroke
                stop = f"; stop and test after {work.stop:g} min of work" * bool(work.stop)
                parts.says(
                    f"Spell {work.spell + 1} of {len(work.planned)}: {spell['minutes']:g} min{push}{stop}", "quiet"
                )
                parts.says(upper(spell["title"]), "name")
                parts.says(spell["sizes"])
            with parts.group("sight"):
                with parts.group("clock"):
                    self._clock(work)
                    parts.group("beatlamp", id="beat-lamp", aria_hidden="true")
                    ready = [] if work.seconds() else before(spell, work.first * (work.spell == 0))
                    # by this name the script, which may still run for the spell before, knows where its reminders go
                    parts.says(" ".join(ready), "reminder").props("id=reminder" if work.since else "id=before-spell")
                    if spell["rate"]:
                        parts.says(f"{spell['rate']:g} strokes per minute, out and back as one; {spell['turning']}.")
                ui.html(spell["moving"], sanitize=False)
            self._deeds(work)
        self._signs(work)

    def _deeds(self, work: Work) -> None:
        begun = work.seconds() > 0.0
        with parts.group("row deeds"):
            if work.since is None:
                self._deed("Paused: continue" if begun else "Start", "go", work, "main")
            else:
                self._deed("Pause", "halt", work, "main")
            self._deed("Stopped here" if begun or work.since else "Skip this spell", "next_spell", work)
            if work.spell + 1 < len(work.planned):
                self._deed("End of the session", "end", work)

    def _signs(self, work: Work) -> None:
        with parts.group("row signs"):
            if work.spell:
                self._deed("Back to the previous spell", "back", work)
            for sign, is_on in self.signs.items():
                parts.button(f"Turn {sign} {'off' if is_on else 'on'}", partial(self._sign, sign))

    def _sign(self, sign: str) -> None:
        self.signs[sign] = not self.signs[sign]
        self.work.refresh()

    def _deed(self, words: str, name: str, work: Work, kind: parts.Kind = "plain") -> None:
        parts.button(words, partial(self.mirror.act, name, work, work.standing), kind)

    def _tell_browser(self, work: Work, spell: dict[str, Any]) -> None:
        """What the script needs to count on by itself."""
        state = {
            "left": work.left, "whole": work.whole, "running": work.is_going, "rate": spell["rate"] * (not work.pressing),
            "reminders": reminders(spell) if work.is_going else [], **self.signs,
        }  # fmt: skip
        told = f"barrel.set({json.dumps(state)})".replace("<", "\\u003c")
        ui.timer(0.05, lambda: ui.run_javascript(told), once=True)

    def _ended(self, work: Work) -> None:
        parts.heading("Done" if work.minutes() == work.planned else "Stopped")
        for spell, minutes in zip(self.plan, work.minutes(), strict=True):
            parts.says(f"{minutes:g} of {spell['minutes']:g} min: {spell['title']}")
        parts.says(f"{waiting_text(self.bench.mirror)} A few minutes of work need less.", "strong")
        with parts.group("row"):
            parts.button("Test and record", lambda: ui.navigate.to(parts.address_of(self.mirror, "after")), "main")
            self._deed("Back to the last spell", "back", work)
        parts.caution(*ON_THE_CARD[:1], *ON_THE_CARD[2:3])
