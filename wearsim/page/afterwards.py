"""Afterwards: the glass cools, it is read, the session is recorded, and the sessions are learned from."""

from __future__ import annotations

import time
from functools import partial

from nicegui import context, ui

from wearsim.bench.materials import called, names
from wearsim.bench.personal_units import temperature_words
from wearsim.errors import WearsimError
from wearsim.knifeedge.cooling import cooling
from wearsim.learn.barrel_work import Work
from wearsim.page import calls, parts
from wearsim.page.live_mirror import LiveMirror
from wearsim.page.readings import ReadingsView
from wearsim.show.notices import time_words
from wearsim.show.text import upper

TEXTS = {
    "temperature": ("Temperature of the room", "Only if it was not {}, as the bench says."),
    "pressed": ("Pressed before spell 1", "For how many minutes. Filled in where you used the clock for it."),
    "notes": ("Notes", "Anything worth remembering."),
}


class AfterwardsView:
    """From the last stroke to the next proposal."""

    def __init__(self, mirror: LiveMirror) -> None:
        self.mirror = mirror
        assert mirror.bench is not None
        glass, self.warmth = mirror.bench.mirror, temperature_words(mirror.bench.wear.temperature, mirror.bench)
        self.cooling = cooling(glass.diameter, glass.thickness, glass.material).time

    def show(self) -> None:
        """The work done, the cooling, the readings, the record."""
        self.learning()
        parts.follow(self.mirror, {"job", "session"}, self.learning.refresh)
        self.body = parts.group("stack")
        with self.body:
            if self.mirror.draft.work is None:
                parts.says("There is nothing to record: take a programme to the barrel first.")
                return
            with parts.group("beside"):
                self.done()
                self._clock()
            ReadingsView(self.mirror, "after").show()
            self._record_sheet()
        parts.follow(self.mirror, {"session"}, self._recorded)
        parts.follow(self.mirror, {"work", "minutes"}, self.done.refresh)

    def _recorded(self) -> None:
        self.body.clear()
        with self.body:
            parts.says("This session is recorded.", "strong")

    @parts.part
    def done(self) -> None:
        """The work done, to be corrected."""
        work = self.mirror.draft.work
        if work is None:
            return
        plan = calls.work_plan(self.mirror.path, work.programme)
        with parts.sheet("Work done"):
            if work.ended is None:
                parts.says("The work at the barrel has not ended.", "mark")
            for place, (spell, minutes) in enumerate(zip(plan, work.minutes(), strict=True)):
                what = ", ".join(filter(None, (spell["title"], spell["sizes"])))
                parts.says(upper(f"{what}; {spell['minutes']:g} min planned"))
                words = f"Minutes worked, spell {place + 1}"
                entry = parts.Entry(minutes, partial(self._minutes, work, place), self.mirror.typed, ("minutes", place))
                parts.number(words, entry, 0, 600)
            parts.button("As planned", partial(self._as_planned, work))

    def _minutes(self, work: Work, place: int, minutes: float) -> None:
        if work.minutes()[place] != minutes:
            work.corrected = work.minutes()
            work.corrected[place] = minutes
            self.mirror.typed.emit(parts.browser(), ("minutes", place), minutes)
            self.mirror.tell("entered")

    def _as_planned(self, work: Work) -> None:
        work.corrected = list(work.planned)
        self.mirror.tell("minutes")

    def _clock(self) -> None:
        with parts.sheet("Cooling"):
            parts.says("Warm glass gives false readings. This time is for long work: ample after a short spell.")
            self.left = parts.says("", "big").props("role=timer")
            self._tick()
            ui.timer(5.0, self._tick)

    def _tick(self) -> None:
        work = self.mirror.draft.work
        if work is None:
            return
        ready = (work.ended or time.time()) + self.cooling
        words = f"Test in {time_words(ready - time.time())}, at {time.strftime('%H:%M', time.localtime(ready))}"
        self.left.content = words if ready > time.time() else "Cool enough to test"

    def _record_sheet(self) -> None:
        entry = partial(self.mirror.entry, self.mirror.draft.conditions)
        with parts.sheet("Record the session"):
            usual = "as the last session left it" if self.mirror.sessions else "pressed"
            laps = {"": usual, "pressed": "pressed again", "spherical": "spherical"}
            abrasives = {"": "the bench's", **dict(zip(names("abrasives"), called("abrasives"), strict=True))}
            for key, words, options in (("abrasive", "Abrasive", abrasives), ("lap", "Lap at the start", laps)):
                parts.choice(words, options, entry(key))
            texts = {key: (words, hint.format(self.warmth)) for key, (words, hint) in TEXTS.items()}
            self.fields = {key: parts.field(words, entry(key), hint) for key, (words, hint) in texts.items()}
            parts.button("Record this session", self._record, "main")

    async def _record(self) -> None:
        client = context.client
        try:
            session = await self.mirror.keep_session()
        except WearsimError as error:
            field = self.fields.get(str(getattr(error, "key", "")).removeprefix("session."))
            return parts.refuse(error, field, client)
        repeated = session["repeated"]
        wrong = f" Its readings are the same as {repeated}. Wrong sheet? Undo it under History." if repeated else ""
        parts.tell(f"Session {session['number']} is recorded.{wrong}", client)
        await self._learn()

    @parts.part
    def learning(self) -> None:
        """What the sessions show of hands and pitch, or how far that is."""
        job = self.mirror.learning
        if not self.mirror.sessions:
            return
        with parts.sheet("What the sessions show"), parts.group("stack", aria_live="polite"):
            if parts.is_working(job):
                return
            parts.answers(job, "Each constant before and after calibration")
            if job.found:
                parts.says("Learned: What next? uses this from now on.", "strong")
            else:
                parts.button("Learn from the sessions", self._learn)
            parts.button("What next?", lambda: ui.navigate.to(parts.address_of(self.mirror, "next")), "main")

    async def _learn(self) -> None:
        await self.mirror.run(self.mirror.learning, "Beginning", calls.calibration)
