"""Afterwards: the glass cools, it is read, the session is recorded, and the sessions are learned from."""

from __future__ import annotations

import time
from typing import Any

from nicegui import ui

from wearsim.bench.materials import names
from wearsim.errors import InputError, WearsimError
from wearsim.page import calls, parts
from wearsim.page.live_mirror import LiveMirror
from wearsim.page.readings import ReadingsView
from wearsim.worker import Stopped

LAPS = {
    "": "as the last session left it, or pressed before the first",
    "pressed": "pressed again before work",
    "spherical": "spherical",
}


class AfterwardsView:
    """From the last stroke to the next proposal."""

    def __init__(self, mirror: LiveMirror) -> None:
        self.mirror = mirror
        self.cooling = calls.cooling_time(mirror.path)
        work = mirror.draft.work
        self.minutes = [] if work is None else work.minutes()

    def show(self) -> None:
        """What was worked, the cooling, the readings, the record."""
        self.learning()
        parts.follow(self.mirror, {"job"}, self.learning.refresh)
        if self.mirror.draft.work is None:
            parts.says("Nothing is waiting to be recorded: take a programme to the barrel first.")
            parts.button("What next?", lambda: ui.navigate.to(parts.address_of(self.mirror, "next")))
            return
        self.body = parts.group("stack")
        with self.body:
            with parts.group("beside"):
                self._done()
                self._clock()
            ReadingsView(self.mirror, "after").show()
            self._record_sheet()
        parts.follow(self.mirror, {"session"}, self._recorded)

    def _recorded(self) -> None:
        self.body.clear()
        with self.body:
            parts.says("This session is recorded.", "strong")

    # --- what was worked

    def _done(self) -> None:
        work = self.mirror.draft.work
        assert work is not None
        plan = calls.work_plan(self.mirror.path, work.programme)["spells"]
        with parts.sheet("What was worked"):
            if work.ended is None:
                parts.says("The work at the barrel has not ended yet.", "mark")
            self.fields = []
            for place, (spell, minutes) in enumerate(zip(plan, self.minutes, strict=True)):
                parts.says(f"{spell['title']}, {spell['sizes']}; {spell['minutes']:g} min planned")
                field = ui.number(f"Minutes really done, spell {place + 1}", value=minutes, min=0, max=600, step=0.5)
                field.props("outlined").on_value_change(lambda event, place=place: self._minutes(place, event.value))
                self.fields.append(field)
            with parts.group("row"):
                parts.button("As planned", lambda: self._as_planned(work.planned))

    def _minutes(self, place: int, value: Any) -> None:
        self.minutes[place] = float(value or 0.0)

    def _as_planned(self, planned: list[float]) -> None:
        for field, minutes in zip(self.fields, planned, strict=True):
            field.value = minutes

    def _clock(self) -> None:
        with parts.sheet("The glass cools"):
            parts.says("Warm glass gives false readings.")
            self.left = parts.says("", "big").props("role=timer")
            self._tick()
            ui.timer(5.0, self._tick)

    def _tick(self) -> None:
        work = self.mirror.draft.work
        if work is None:
            return
        waited = time.time() - (work.ended or time.time())
        minutes = max(0.0, self.cooling - waited) / 60.0
        words = f"{minutes:.0f} min" if minutes < 100 else f"{minutes / 60.0:.1f} h"
        self.left.content = f"{words} more, then read it" if minutes > 0.5 else "Cool enough to be read"

    # --- the record

    def _record_sheet(self) -> None:
        conditions = self.mirror.draft.conditions
        with parts.sheet("Record the session"):
            self._field("temperature", "Temperature of the room, if not the bench's", "18 degC or 65 degF")
            abrasive = ui.select(
                {"": "the bench's", **{n: n for n in names("abrasives")}},
                label="Abrasive",
                value=conditions.get("abrasive", ""),
            )
            abrasive.props("outlined").on_value_change(lambda event: self._condition("abrasive", event.value))
            lap = ui.select(LAPS, label="How the lap began", value=conditions.get("lap", "")).props("outlined")
            lap.on_value_change(lambda event: self._condition("lap", event.value))
            self._field("notes", "Notes", "whatever is worth remembering")
            parts.button("Record this session", self._record, "main")

    def _field(self, key: str, words: str, hint: str) -> None:
        field = ui.input(words, value=self.mirror.draft.conditions.get(key, "")).props(
            f'outlined hint="{hint}" autocomplete=off'
        )
        field.on_value_change(lambda event: self._condition(key, event.value or ""))

    def _condition(self, key: str, value: str) -> None:
        self.mirror.draft.conditions[key] = value
        self.mirror.tell("conditions")

    async def _record(self) -> None:
        work = self.mirror.draft.work
        try:
            if work is None:
                raise InputError("this session is recorded already", expected="one record of it")
            if not any(self.minutes):
                raise InputError("no minute was worked", expected="the minutes that were really done")
            waited = f"{max(0.0, time.time() - (work.ended or time.time())) / 60.0:.0f} min"
            given = {key: value for key, value in self.mirror.draft.conditions.items() if value.strip()}
            session = await self.mirror.keep_session(self.minutes, {**given, "waited": waited})
        except WearsimError as error:
            parts.tell(str(error))
            return
        if session["repeated"]:
            parts.tell(
                f"The same numbers as measured {session['repeated']}: the wrong sheet? It can be undone under So far."
            )
        parts.tell(f"Session {session['number']} is recorded.")
        await self._learn()

    # --- learning from it

    @ui.refreshable_method
    def learning(self) -> None:
        """What the sessions show of hands and pitch, or how far that is."""
        job = self.mirror.learning
        if not self.mirror.sessions:
            return
        with parts.sheet("What the sessions show"), parts.group("stack", aria_live="polite"):
            if job.is_running:
                with parts.group("row"):
                    ui.spinner(size="lg")
                    parts.says(f"Learning from {len(self.mirror.sessions)} sessions: {job.stage}")
                parts.button("Stop", self.mirror.desk.long.stop)
                return
            if job.fault:
                parts.says(job.fault, "mark")
            for found in job.found:
                parts.picture(found["picture"], "Each constant as it was believed and as the sessions show it")
                parts.written(found["text"])
            with parts.group("row"):
                parts.button("Learn from the sessions", self._learn)
                parts.button("What next?", lambda: ui.navigate.to(parts.address_of(self.mirror, "next")), "main")

    async def _learn(self) -> None:
        try:
            found = await self.mirror.run(self.mirror.learning, "beginning", calls.calibration, self.mirror.path)
        except Stopped:
            return
        if found is not None:
            self.mirror.learning.found = [found]
            self.mirror.changed.emit("job")
