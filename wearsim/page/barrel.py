"""At the barrel: one spell at a time, its stroke moving, the minutes left; nothing is lost by a reload."""

from __future__ import annotations

import json
from functools import partial
from typing import TYPE_CHECKING, Any

from nicegui import ui

from wearsim.learn.barrel_work import Work
from wearsim.page import calls, parts
from wearsim.page.live_mirror import LiveMirror
from wearsim.show.moving_stroke import before, reminders
from wearsim.show.notices import ON_THE_CARD

if TYPE_CHECKING:
    from wearsim.page.server import Room


def barrel_view(mirror: LiveMirror, room: Room) -> None:
    """The work that was taken to the barrel."""
    BarrelView(mirror).show()
    _tablet(mirror, room)


def _tablet(mirror: LiveMirror, room: Room) -> None:
    """The code that brings a tablet here."""
    with parts.fold("On a tablet by the barrel"):
        if not room.door.address:
            parts.says("Start the page with: wearsim page --share. Then a code to scan is shown here.")
            return
        import segno

        link = room.door.link(parts.address_of(mirror, "barrel"), room.door.address)
        parts.says(
            "Scan this with the tablet; it must be on the same network. Whoever has the address can use the page."
        )
        code = segno.make(link, error="m").svg_inline(scale=6, border=4, dark="#000", light="#fff")
        parts.drawing(f'<div role="img" aria-label="Code with the address of this view">{code}</div>')
        parts.says(link)


class BarrelView:
    """One programme being worked."""

    def __init__(self, mirror: LiveMirror) -> None:
        self.mirror = mirror
        self.plan: dict[str, Any] = {}
        self.planned: Work | None = None
        self.signs = {"sound": True, "flash": True}

    def show(self) -> None:
        """Large, and the same on every screen."""
        ui.add_body_html(f"<script>{(parts.ASSETS / 'barrel.js').read_text(encoding='utf-8')}</script>")
        self.work()
        parts.says("Set the tablet to stay on: this browser lets it sleep.", "quiet").props("id=awake-note hidden")
        parts.follow(self.mirror, {"work", "session"}, self.work.refresh)

    @ui.refreshable_method
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
                self._spell(work, self.plan["spells"][work.spell])
                self._tell_browser(work)

    def _spell(self, work: Work, spell: dict[str, Any]) -> None:
        with parts.group("beside"):
            with parts.sheet():
                parts.says(f"Spell {work.spell + 1} of {len(work.planned)}: {spell['minutes']:g} min", "quiet")
                parts.says(parts.upper(spell["title"]), "name")
                parts.says(spell["sizes"])
                if not work.seconds():
                    for words in before(spell, work.first * (work.spell == 0)):
                        parts.says(words, "strong")
                parts.group("minutes", id="minutes-left", role="timer", aria_label="Minutes left")
                parts.group("beatlamp", id="beat-lamp", aria_hidden="true")
                parts.says("", "reminder").props("id=reminder")
            with parts.sheet():
                parts.drawing(spell["moving"])
                if spell["rate"]:
                    parts.says(f"{spell['rate']:g} strokes per minute, out and back counted as one.")
                    parts.says(f"{parts.upper(spell['turning'])}.")
        self._buttons(work, spell)
        if self.plan["is_heavy"] and "mirror on top" in spell["title"]:
            parts.caution("The glass is heavy: lift it with a second person or a hoist.")

    def _buttons(self, work: Work, spell: dict[str, Any]) -> None:
        begun = work.seconds() > 0.0
        with parts.group("row deeds"):
            if work.since is None:
                self._deed("Continue" if begun else "Start", "go", work, "main")
            else:
                self._deed("Pause", "halt", work, "main")
            self._deed("Stopped here" if begun or work.since else "Skip this spell", "next_spell", work)
            if work.spell + 1 < len(work.planned):
                self._deed("End of the session", "end", work)
        with parts.group("row signs"):
            if work.spell:
                self._deed("Back to the previous spell", "back", work)
            for sign, words in (("sound", "Sound"), ("flash", "Flash")):
                is_on = self.signs[sign]
                words = f"{words} {'on' if is_on else 'off'}"
                parts.button(words, partial(self._sign, sign), aria_pressed=str(is_on).lower())

    def _sign(self, sign: str) -> None:
        self.signs[sign] = not self.signs[sign]
        self.work.refresh()

    def _deed(self, words: str, name: str, work: Work, kind: parts.Kind = "plain") -> None:
        parts.button(words, partial(self.mirror.act, name, work, work.standing), kind)

    def _tell_browser(self, work: Work) -> None:
        """What the script needs to count on by itself."""
        spell, is_running = self.plan["spells"][work.spell], work.since is not None
        state = {
            "left": work.left, "whole": 60.0 * work.planned[work.spell], "running": is_running, "rate": spell["rate"],
            "reminders": reminders(spell) if is_running else [], **self.signs,
        }  # fmt: skip
        told = f"barrel.set({json.dumps(state)})".replace("<", "\\u003c")
        ui.timer(0.05, lambda: ui.run_javascript(told), once=True)

    def _ended(self, work: Work) -> None:
        parts.heading("Done")
        for spell, minutes in zip(self.plan["spells"], work.minutes(), strict=True):
            parts.says(f"{minutes:g} of {spell['minutes']:g} min: {spell['title']}")
        parts.says("Let the glass cool before you test it.", "strong")
        with parts.group("row"):
            parts.button("Afterwards", lambda: ui.navigate.to(parts.address_of(self.mirror, "after")), "main")
            self._deed("Back to the last spell", "back", work)
        parts.caution(*ON_THE_CARD[:1], *ON_THE_CARD[2:3])
