"""One mirror while the page is open: what every browser on it sees, and what is being worked out for it."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any

from nicegui import Event, background_tasks

from wearsim.bench.bench import Bench
from wearsim.errors import CouldNotError, InputError, WearsimError
from wearsim.learn import typed_records
from wearsim.learn.barrel_work import BEAT, Work
from wearsim.learn.bench_answers import change_answers
from wearsim.learn.draft import FILE, Draft, Round
from wearsim.learn.mirror_folder import Session, open_folder
from wearsim.learn.typed_readings import CHANGED, Sheet, newest_sheet, slips, write_rows, write_windows
from wearsim.learn.whole_writes import write_file
from wearsim.page import calls
from wearsim.page.parts import Entry, browser
from wearsim.show.strokes import title_of
from wearsim.show.text import by_window, sentence
from wearsim.worker import Desk, Job, Latest, Stopped, Worker

SETTLED, THINKING = 0.3, 1.5
"""After a change before it is worked; after a key in a field of readings that is not left: half a number, perhaps [s]."""
NEW_ANSWERS = "The mirror's answers are saved. What was proposed before was for the old ones: ask again."
BOUNCE = 0.5
"""A second touch at the barrel within this counts for nothing [s]: it was meant for what was there before."""


class LiveMirror:
    """A mirror's folder with all that was entered and worked out for it."""

    def __init__(self, path: Path, desk: Desk) -> None:
        self.path, self.name, self.desk = path, path.name, desk
        self.draft = Draft.load(path)
        self.changed: Event[str, str] = Event()
        self.typed: Event[str, Any, Any] = Event()
        self.search, self.learning, self.asking = Job(), Job(), Job()
        self.surfaces: dict[str, dict[str, Any]] = {}
        self.readings_faults: dict[str, str] = {}
        self.file_note, self.step = "", "readings"  # the step of the work that was shown last
        self._surface = {which: Latest(partial(self._work_surface, which)) for which in ("rounds", "after")}
        self._saving, self._acted, self._thinks_until = Latest(self._save), 0.0, 0.0
        self._recording, self._writing = asyncio.Lock(), asyncio.Lock()
        self.read_folder()
        work = self.draft.work
        if work is not None and 0 < work.number <= len(self.sessions):  # recorded, then the server was killed
            self._forget_work()
        elif work is not None:
            work.number = 0

    def read_folder(self) -> None:
        """Look at the folder's files again; what somebody else changed there is taken over."""
        self.sessions: tuple[Session, ...] = ()
        self.kept: dict[str, str] = {}
        self.sheet: Sheet | None = None
        self.bench: Bench | None = None
        self.title, self.fault, self.is_practice = "", "", False
        try:
            folder = open_folder(self.path)
            self.bench, self.is_practice = folder.bench, folder.is_practice
            self.title, self.sessions = title_of(folder.bench), folder.sessions
            self.sheet, self.kept = newest_sheet(folder), folder.kept
        except WearsimError as error:
            self.fault = str(error)
        if self.sheet is not None and self.sheet.digest != self.draft.made_from and not self._writing.locked():
            said = "The readings were changed outside this page. Here is what the file holds."
            self.file_note = said if self.draft.rows("rounds") else ""
            self.draft.take_over(self.sheet)

    def blank_round(self) -> Round:
        """To be filled in."""
        return Round([""] * (self.sheet.windows if self.sheet else 0))

    def tell(self, topic: str) -> None:
        """Keep what was entered, and let every browser know."""
        self.changed.emit(topic, browser())
        background_tasks.create(self._saving.ask(), name="save draft")

    def entry(self, table: dict[str, Any], key: str) -> Entry:
        """A field for what is kept in a table under a key."""
        return Entry.in_table(table, key, self.typed, partial(self.tell, "entered"))

    async def _save(self) -> None:
        await asyncio.sleep(SETTLED)
        try:
            await asyncio.to_thread(self.save, self.draft.text)
        except CouldNotError as error:
            self.file_note = f"What you type here cannot be saved: {error}"
            self.changed.emit("surface", "")

    def save(self, text: str) -> None:
        """Write what is kept of all that was entered."""
        write_file(self.path, self.path / FILE, text)

    def rounds(self, which: str) -> list[Round]:
        """Rounds of the present sheet ("rounds") or of the one after the session ("after"); never none."""
        found: list[Round] = getattr(self.draft, which)
        if not found:
            found.append(self.blank_round())
        return found

    def cell(self, which: str, one: Round, zone: int) -> Entry:
        """A field for a reading."""
        return Entry(one.cells[zone], partial(self.write_cell, which, one, zone), self.typed, (one, zone))

    def write_cell(self, which: str, one: Round, zone: int, text: str) -> None:
        """A reading was typed; into a round that is there no more it is not."""
        if one in self.rounds(which) and one.cells[zone] != text[:20]:
            one.cells[zone] = text[:20]
            self._thinks_until = time.monotonic() + THINKING
            self.typed.emit(browser(), (one, zone), text[:20])
            self.readings_changed(which)

    def typing_ended(self) -> None:
        """The field is left: what is in it is meant."""
        self._thinks_until = 0.0

    def readings_changed(self, which: str, topic: str = "entered") -> None:
        """Keep them, and have the surface worked out again."""
        self.tell(topic)
        background_tasks.create(self._surface[which].ask(), name="surface")

    async def _work_surface(self, which: str) -> None:
        await asyncio.sleep(SETTLED)
        while time.monotonic() < self._thinks_until:
            await asyncio.sleep(0.1)
        rows = self.draft.rows(which)
        self.readings_faults[which] = ""
        sheet, source = self.sheet, self.draft.source
        if sheet is None:
            return
        try:
            begun = [self.rounds(which)[place].cells for place in self.draft.counted(which)]
            self.changed.emit("surface" if rows and which not in self.surfaces else "", "")  # it is being worked out
            marks = await self.ask(slips, sheet.file, begun, source)
            is_recorded = which == "rounds" and bool(self.sessions) and not self.is_corrected
            found = await self.ask(calls.surface, sheet.file, rows, source, is_recorded) if rows else {}
            self.surfaces[which] = {**found, "marks": marks}
            if which == "rounds":
                await self.write_sheet()
        except Stopped:
            return
        except WearsimError as error:
            self.surfaces.pop(which, None)
            self.readings_faults[which] = sentence(by_window(str(error)))
            if isinstance(error, InputError) and error.message == CHANGED:
                self.read_folder()
                self.tell("rounds")
        self.changed.emit("surface", "")

    async def take_windows(self, text: str) -> None:
        """The windows of one's own mask into the folder's sheet; WearsimError where that cannot be."""
        async with self._writing:
            if self.draft.is_read:
                raise InputError("there are readings taken with other windows; strike out and delete those rows first")
            write_windows(open_folder(self.path), text)
            self.surfaces = {}
        self.read_folder()
        self.tell("rounds")

    async def write_sheet(self) -> None:
        """The readings into the folder's sheet, where every round is whole and no session is recorded yet.

        Raises
        ------
        WearsimError
            Where they cannot be used, or somebody else changed the sheet.
        """
        async with self._writing:
            rows = self.draft.rows("rounds")
            if self.sheet is None or self.sessions or len(rows) < len(self.draft.counted("rounds")):
                return
            given = (open_folder(self.path), rows, self.draft.source, self.draft.made_from)
            before, self.draft.made_from = self.draft.made_from, await asyncio.to_thread(write_rows, *given)
        if self.draft.made_from != before:
            self.tell("sheet")

    @property
    def is_corrected(self) -> bool:
        """Whether the readings after the newest session were changed here and are not in its record."""
        rows = tuple(map(tuple, self.draft.rows("rounds")))
        return bool(self.sessions) and self.sheet is not None and rows != self.sheet.rows

    def open_notes(self) -> list[str]:
        """What was typed as readings and does not count yet."""
        if self.readings_faults.get("rounds"):
            return [f"The readings cannot be used yet: {self.readings_faults['rounds']}"]
        left_out = f"Readings were changed after session {len(self.sessions)}. The changes are not in its record."
        broken = "One row of readings is incomplete; the search uses only the complete ones."
        is_broken = len(self.draft.rows("rounds")) < len(self.draft.counted("rounds"))
        return [NEW_ANSWERS] * (self.file_note == NEW_ANSWERS) + [left_out] * self.is_corrected + [broken] * is_broken

    async def ask(self, function: Callable[..., Any], *arguments: Any, worker: Worker | None = None) -> Any:
        """Have a function of the folder and these called, in the process for what is answered within a second."""
        return await (worker or self.desk.quick).ask(calls.on_bench, self.path, function, *arguments)

    async def run(self, job: Job, stage: str, function: Callable[..., Any], *arguments: Any) -> None:
        """Have one called in the process for long work, for all browsers to see."""
        work = (calls.on_bench, self.path, function, *arguments)
        await job.run(self.desk.long, stage, lambda topic: self.changed.emit(topic, ""), *work)

    async def look_for_choices(self) -> None:
        """What to do next, by the readings as they are typed: a quick press does not leave the last of them out."""
        with suppress(WearsimError):  # said beside the readings
            await self.write_sheet()
        self.file_note = self.file_note.replace(NEW_ANSWERS, "")  # this asks again
        await self.run(self.search, "Working out the present figure", calls.choices, dict(self.draft.limits))

    def begin_work(self, choice: dict[str, Any]) -> None:
        """Take to the barrel what :func:`wearsim.page.calls.predicted` says of a programme."""
        given = {key: choice[key] for key in ("programme", "first", "pressing", "stop")}
        self.draft.begin(Work(planned=[spell["minutes"] for spell in choice["spells"]], **given))
        self.surfaces.pop("after", None)
        self.tell("work")

    def beat(self) -> None:
        """Note that the clock goes; on to the next spell where one is over."""
        work = self.draft.work
        if work is None or work.since is None:
            return
        if work.left <= 0.0:
            self._act(work.run_out)
        elif time.time() - work.beat >= BEAT:
            work.beat = time.time()
            self.tell("beat")

    def act(self, name: str, work: Work, standing: tuple[int, ...]) -> None:
        """A button was touched at the barrel: what it says is done, if all is still as it was where it was shown."""
        if work is self.draft.work and work.standing == standing and time.monotonic() - self._acted > BOUNCE:
            self._act(getattr(work, name))
            if name == "fits" and work.pressed > 30.0:
                self.draft.conditions["pressed"] = f"{work.pressed / 60.0:.0f} min"

    def _act(self, deed: Callable[[], None]) -> None:
        self._acted = time.monotonic()
        deed()
        self.tell("work")

    async def keep_session(self) -> dict[str, Any]:
        """Record the session that was worked, with the readings after it.

        Raises
        ------
        WearsimError
            Where it cannot be recorded, or another browser did; nothing is lost then.
        """
        # whoever pressed may leave before it is done: what was begun goes on to its end
        return await asyncio.shield(asyncio.ensure_future(self._keep_session()))

    async def _keep_session(self) -> dict[str, Any]:
        async with self._recording:
            work = self.draft.work
            if work is None:
                raise InputError("this session is already recorded", expected="a session that is not recorded yet")
            given = {key: value for key, value in self.draft.conditions.items() if value.strip()}
            given["waited"] = f"{max(0.0, time.time() - (work.ended or time.time())) / 60.0:.0f} min"
            done = (work.programme, work.minutes(), self.draft.rows("after"), self.draft.source, given)
            try:
                work.number = len(open_folder(self.path).sessions) + 1
                # killed from here on, it is known what was recorded
                await asyncio.to_thread(self.save, self.draft.text)
                session: dict[str, Any] = await asyncio.to_thread(typed_records.keep_session, self.path, *done)
            except WearsimError:
                work.number = 0
                raise
            self._forget_work()
            self._look_again()
        return session

    def _forget_work(self) -> None:
        self.draft.work, self.draft.after, self.draft.own = None, [], []

    async def correct(self, function: Callable[..., str], *arguments: Any) -> None:
        """Put a record right, or set one aside, or bring one back; what was done is said to all browsers."""
        async with self._recording:
            try:
                said = await asyncio.to_thread(function, self.path, *arguments)
                self._look_again()
            except WearsimError as error:
                said = str(error)
        self.file_note = said
        self.changed.emit("said", "")

    async def change_answers(self, given: dict[str, Any], made_from: str) -> None:
        """Other answers into the mirror's bench; WearsimError where they cannot be kept."""
        async with self._recording, self._writing:
            await asyncio.to_thread(change_answers, self.path, given, made_from, self.draft.is_read)
        self._forget_what_was_found()
        self.read_folder()
        self.file_note = NEW_ANSWERS
        self.tell("answers")

    def _forget_what_was_found(self) -> None:
        for job in (self.search, self.learning, self.asking):
            job.stop()
        self.search, self.learning, self.asking, self.surfaces = Job(), Job(), Job(), {}

    def _look_again(self) -> None:
        """At a folder whose sessions were changed."""
        self._forget_what_was_found()
        self.draft.made_from, self.draft.rounds = "", []
        self.read_folder()
        self.file_note = ""
        self.tell("session")
