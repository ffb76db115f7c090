"""A programme of one's own: sliders for minutes and sizes, the predicted figure following."""

from __future__ import annotations

from contextlib import suppress
from functools import partial
from typing import Any

from nicegui import background_tasks, context, ui

from wearsim.bench.programme import STROKES
from wearsim.errors import WearsimError
from wearsim.page import calls, parts
from wearsim.page.live_mirror import LiveMirror
from wearsim.show.strokes import share_words
from wearsim.worker import Job, Latest, Stopped

SIZES = {
    "length": ("Length", 0.9, 0.3),
    "side_sweep": ("To each side", 0.5, 0.1),
    "side_overhang": ("Off centre", 0.45, 0.0),
}
"""Sizes of a stroke: words, the largest that the slider goes to and where it begins, in mirror's diameters [1]."""
FIRST = {"on_top": "tool", "stroke": "w", "minutes": 5.0, "length": 0.3, "side_sweep": 0.1}
HINTS = {"overhang": "Along a line beside the centre, so that the top piece hangs over the edge on one side."}
BAND_DRAWS = 32


class Slider(ui.slider):
    """Stays where the hand has it: what the server heard a moment ago is not sent back."""

    LOOPBACK = False


class OwnProgramme:
    """Spells with sliders, and what they are predicted to do."""

    def __init__(self, mirror: LiveMirror) -> None:
        assert mirror.bench is not None
        self.mirror, self.bench = mirror, mirror.bench
        self.predict, self.band = Latest(self._predict), Latest(self._band)
        self.found: dict[str, Any] = {}
        self.fault = ""
        self.compare = Job()

    def show(self) -> None:
        """The spells to one side, the figure to the other."""
        parts.heading("A programme of your own").props("id=own-programme")
        self.numbers()
        with parts.group("beside"):
            with parts.sheet():
                self.spells()
            with parts.sheet("Predicted figure"):
                # above the figure, so that this does not move them under a press
                with parts.group("row").bind_visibility_from(self, "found", bool):
                    parts.button("Take this to the barrel", self._take, "main")
                    parts.button("Tool on top or mirror on top?", self._compare)
                self.figure()
        self.both_ways()
        mirror = self.mirror
        parts.follow(mirror, {"own"}, self.spells.refresh)
        # a slider stays in the hand that moves it
        parts.follow(mirror, {"moved"}, self.spells.refresh, others_only=True)
        parts.follow(mirror, {"own", "moved", "sheet"}, self.predict.ask)
        parts.follow(mirror, {"job"}, self.both_ways.refresh)
        ui.timer(0.1, self.predict.ask, once=True)
        context.client.on_delete(self.compare.stop)  # whoever has left does not keep others waiting

    @parts.part
    def spells(self) -> None:
        """Each spell with its sliders."""
        if not self.mirror.draft.own:
            parts.says("Add a spell of your own, or take one of the choices as a start (Change it).")
        for place, spell in enumerate(self.mirror.draft.own):
            self._spell(place, spell)
        parts.button("Add a spell", self._add)

    def _spell(self, place: int, spell: dict[str, Any]) -> None:
        parts.heading(f"Spell {place + 1}", 3)
        with parts.group("row"):
            words = {kind: one.words for kind, one in STROKES.items()}
            kind = parts.Entry(spell["stroke"], partial(self._kind, spell))
            parts.choice("Stroke", words, kind, HINTS.get(kind.value, ""))
            tops = {"tool": "tool on top", "mirror": "mirror on top"}
            parts.choice("On top", tops, parts.Entry(spell["on_top"], partial(self._set, spell, "on_top")))
            parts.button("Remove", partial(self._remove, spell), "slight", aria_label=f"Remove spell {place + 1}")
        self._slider(place, spell, "minutes", "Minutes", 1.0, 60.0)
        for key, (name, most, _) in SIZES.items():
            if key in STROKES[spell["stroke"]].uses:
                self._slider(place, spell, key, name, 0.02 if key == "length" else 0.0, most)

    def _slider(self, place: int, spell: dict[str, Any], key: str, name: str, least: float, most: float) -> None:
        step = 1.0 if key == "minutes" else 0.01
        value = min(max(float(spell.get(key) or 0.0), least), most)
        with parts.group("stack"):
            shown = parts.says(self._words(name, key, value))
            slider = Slider(min=least, max=most, step=step, value=value)
            slider.props(f'aria-label="{name}, spell {place + 1}"')

        def moved(event: Any) -> None:
            shown.content = self._words(name, key, event.value)
            self._set(spell, key, float(event.value))

        slider.on_value_change(moved)

    def _words(self, name: str, key: str, value: float) -> str:
        return f"{name}: {value:g} min" if key == "minutes" else f"{name}: {share_words(self.bench, value)}"

    def _set(self, spell: dict[str, Any], key: str, value: Any) -> None:
        spell[key] = value
        self.mirror.tell("moved")

    def _kind(self, spell: dict[str, Any], kind: str) -> None:
        sizes = {key: spell.get(key, first) for key, (_, _, first) in SIZES.items() if key in STROKES[kind].uses}
        kept: dict[str, Any] = {key: spell[key] for key in ("on_top", "minutes", "turn") if key in spell}
        spell.clear()
        spell.update({**kept, "stroke": kind, **sizes})
        self.mirror.tell("own")

    def _add(self) -> None:
        self.mirror.draft.own.append(dict(FIRST))
        self.mirror.tell("own")

    def _remove(self, spell: dict[str, Any]) -> None:
        self.mirror.draft.own = [one for one in self.mirror.draft.own if one is not spell]
        self.mirror.tell("own")

    async def _predict(self) -> None:
        """The numbers at once, then the picture; no slider waits for the band, and no reading for kernels to be compiled."""
        await self.mirror.desk.prepare(calls.warm_up_strokes)
        spells = [dict(one) for one in self.mirror.draft.own]
        self.found, self.fault = (self.found if spells else {}), ""
        try:
            if spells:
                programme = calls.own_programme(spells)
                self.found |= await self.mirror.ask(calls.headline, programme)
                self.numbers.refresh()
                self.found = await self.mirror.ask(calls.predicted, programme, 0)
                background_tasks.create(self.band.ask(spells, programme), name="band")
        except Stopped:
            return
        except WearsimError as error:
            self.found, self.fault = {}, str(error)
        self.numbers.refresh()
        self.figure.refresh()

    async def _band(self, spells: list[dict[str, Any]], programme: str) -> None:
        """The same with its band, from the process for long work; unless a slider was moved meanwhile."""
        with suppress(Stopped, WearsimError):
            found = await self.mirror.ask(calls.predicted, programme, BAND_DRAWS, worker=self.mirror.desk.long)
            if spells == self.mirror.draft.own:
                self.found = found
                self.numbers.refresh()
                self.figure.refresh()

    @parts.part
    def numbers(self) -> None:
        """The figure afterwards, in numbers that stay in sight beside the sliders."""
        with parts.group("follows", aria_live="polite"):
            if self.fault:
                parts.says(self.fault, "mark")
            elif self.found:
                shown = {"RMS before": "before", "RMS after": "after", "Edge roll after": "edge"}
                parts.facts({name: self.found.get(key, "") for name, key in shown.items()})

    @parts.part
    def figure(self) -> None:
        """The figure afterwards, as a picture, and the strokes."""
        if "picture" not in self.found or self.fault:
            parts.says("The predicted result of your programme appears here.")
            return
        parts.picture(self.found["picture"], f"Predicted surface: {self.found['after']} RMS after")
        parts.says(self.found["edge_now"])
        parts.warn(self.found["warnings"])
        for number, spell in enumerate(self.found["spells"], start=1):
            parts.says(f"Spell {number}")
            ui.html(spell["moving"], sanitize=False)

    async def _take(self) -> None:
        from wearsim.page.choices import take_to_barrel

        client = context.client
        try:
            programme = calls.own_programme(self.mirror.draft.own)
            found = await self.mirror.ask(calls.predicted, programme, 0)
        except (Stopped, WearsimError):
            return  # why is said beside the sliders
        if not client.is_deleted:
            with client:
                await take_to_barrel(self.mirror, found)

    async def _compare(self) -> None:
        with suppress(WearsimError):  # why is said beside the sliders
            programme = calls.own_programme(self.mirror.draft.own)
            ui.timer(0.3, partial(parts.scroll_to, "both-ways"), once=True)
            await self.mirror.run(self.compare, "Predicting both ways", calls.either_way, programme)

    @parts.part
    def both_ways(self) -> None:
        """Tool on top and mirror on top side by side."""
        if not (self.compare.is_running or self.compare.found or self.compare.fault):
            return
        with parts.sheet("Tool on top, mirror on top").props("id=both-ways"):
            parts.is_working(self.compare)
            parts.answers(self.compare, "Your programme with the tool and with the mirror on top", "lines wide")
