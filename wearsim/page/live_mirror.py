"""One mirror while the page is open: what every browser on it sees, and what is being worked out for it."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from nicegui import Event, background_tasks

from wearsim.bench.bench import Bench
from wearsim.errors import CouldNotError, InputError, WearsimError
from wearsim.learn.barrel_work import BEAT, Work
from wearsim.learn.mirror_folder import Session, open_folder
from wearsim.learn.typed_readings import CHANGED, Sheet, newest_sheet, slips, write_rows
from wearsim.learn.whole_writes import write_file
from wearsim.page import calls
from wearsim.page.draft import FILE, Draft, Round
from wearsim.worker import Desk, Latest, Stopped

SETTLED = 0.3
"""After the last key before what was typed is worked [s]."""


@dataclass
class Job:
    """Something that takes a while, as all browsers see it.

    Parameters
    ----------
    stage, best : str
        What is being done; the best so far, in words.
    found : list
        What there is so far.
    fault : str
        Why it ended, where it did not go well.
    """

    is_running: bool = False
    stage: str = ""
    best: str = ""
    found: list[dict[str, Any]] = field(default_factory=list)
    fault: str = ""


class LiveMirror:
    """A mirror's folder with all that was entered and worked out for it.

    Parameters
    ----------
    path : Path
        The folder.
    """

    def __init__(self, path: Path, desk: Desk) -> None:
        self.path, self.name, self.desk = path, path.name, desk
        self.draft = Draft.load(path)
        self.changed: Event[str] = Event()
        self.typed: Event[str, str, int, int, str] = Event()
        self.search, self.learning, self.asking = Job(), Job(), Job()
        self.surfaces: dict[str, dict[str, Any]] = {}
        self.readings_faults: dict[str, str] = {}
        self.file_note = ""
        self._surface = Latest(self._work_surface)
        self._saving = False
        self._recording = asyncio.Lock()
        self.read_folder()

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
            self.title, self.sessions = calls.title_of(folder.bench), folder.sessions
            self.sheet, self.kept = newest_sheet(folder), folder.kept
        except WearsimError as error:
            self.fault = str(error)
        if self.sheet is not None and self.sheet.digest != self.draft.made_from:
            self._take_over(self.sheet)

    def _take_over(self, sheet: Sheet) -> None:
        """The readings that stand in the file in place of those typed here, except for what was never in a file."""
        changed = bool(self.rows("rounds"))
        said = "The readings were changed outside of this page; here is what the file holds."
        self.file_note = said if changed else ""
        unfinished = [one for one in self.draft.rounds if one.struck or (one.is_begun and not one.is_whole)]
        kept = [one for one in unfinished if len(one.cells) == sheet.windows]
        self.draft.rounds = [*(Round(list(row)) for row in sheet.rows), *kept] or [self.blank_round()]
        self.draft.source, self.draft.made_from = sheet.blank.source, sheet.digest

    def blank_round(self) -> Round:
        """To be filled in."""
        return Round([""] * (self.sheet.windows if self.sheet else 0))

    def tell(self, topic: str) -> None:
        """Keep what was entered, and let every browser know."""
        self.changed.emit(topic)
        if not self._saving:
            self._saving = True
            background_tasks.create(self._save(), name="save draft")

    async def _save(self) -> None:
        await asyncio.sleep(SETTLED)
        self._saving = False
        try:
            await asyncio.to_thread(write_file, self.path, self.path / FILE, self.draft.text)
        except CouldNotError as error:
            self.file_note = f"What is typed here cannot be kept: {error}"
            self.changed.emit("notes")

    def rounds(self, which: str) -> list[Round]:
        """Of the present sheet ("rounds") or of the one after the session ("after"); never none."""
        found: list[Round] = getattr(self.draft, which)
        if not found:
            found.append(self.blank_round())
        return found

    def rows(self, which: str) -> list[list[str]]:
        """Of the rounds that count: read in every window and not struck out."""
        return [one.cells for one in self.rounds(which) if one.is_whole and not one.struck]

    def write_cell(self, which: str, place: int, zone: int, text: str, by: str) -> None:
        """A reading was typed, in the browser ``by``."""
        rounds = self.rounds(which)
        if place >= len(rounds) or zone >= len(rounds[place].cells) or rounds[place].cells[zone] == text:
            return
        rounds[place].cells[zone] = text[:20]
        self.typed.emit(by, which, place, zone, text[:20])
        self.readings_changed(which)

    def readings_changed(self, which: str, topic: str = "") -> None:
        """Keep them, and have the surface worked out again."""
        self.tell(topic or "notes")
        background_tasks.create(self._surface.ask(which), name="surface")

    async def _work_surface(self, which: str) -> None:
        await asyncio.sleep(SETTLED)
        rows = self.rows(which)
        self.readings_faults[which] = ""
        sheet, source = self.sheet, self.draft.source
        if sheet is None:
            return
        try:
            begun = [self.rounds(which)[place].cells for place in self.counted(which)]
            marks = await self.desk.quick.ask(slips, self.path, sheet.file, begun, source)
            found = await self.desk.quick.ask(calls.surface, self.path, sheet.file, rows, source) if rows else {}
            self.surfaces[which] = {**found, "marks": marks}
            if which == "rounds" and not self.sessions and len(rows) == len(self.counted(which)):
                given = (open_folder(self.path), rows, source, self.draft.made_from)
                self.draft.made_from = await asyncio.to_thread(write_rows, *given)
                self.tell("notes")
        except Stopped:
            return
        except WearsimError as error:
            self.surfaces.pop(which, None)
            before, found_at, after = str(error).partition("readings, ")
            self.readings_faults[which] = (found_at + after or before).replace("readings, row", "Round")
            if isinstance(error, InputError) and error.message == CHANGED:
                self.read_folder()
                self.tell("rounds")
        self.changed.emit("surface")

    @property
    def is_corrected(self) -> bool:
        """Whether the readings after the newest session were changed here and are not in its record."""
        rows = tuple(map(tuple, self.rows("rounds")))
        return bool(self.sessions) and self.sheet is not None and rows != self.sheet.rows

    def open_notes(self) -> list[str]:
        """What was typed as readings and does not count yet."""
        if self.readings_faults.get("rounds"):
            return [f"The readings cannot be used yet: {self.readings_faults['rounds']}"]
        left_out = f"Readings were changed and are not in the record of session {len(self.sessions)}."
        broken = "A round of readings is not whole: what is looked for here goes by the whole rounds before it."
        is_broken = len(self.rows("rounds")) < len(self.counted("rounds"))
        return [left_out] * self.is_corrected + [broken] * is_broken

    def counted(self, which: str) -> list[int]:
        """Places of the rounds that are begun and not struck out."""
        return [place for place, one in enumerate(self.rounds(which)) if one.is_begun and not one.struck]

    async def run(self, job: Job, stage: str, function: Callable[..., Any], *arguments: Any) -> None:
        """Have something worked in the process for long work, for all browsers to see."""
        if job.is_running:
            return
        job.is_running, job.stage, job.best, job.fault, job.found = True, stage, "", "", []
        self.changed.emit("job")
        try:
            found = await self.desk.long.ask(function, *arguments, progress=lambda *said: self._progress(job, *said))
            job.found += [found] if found is not None else []
        except Stopped:
            job.fault = "Stopped."
        except WearsimError as error:
            job.fault = str(error)
        finally:
            job.is_running = False
            self.changed.emit("job")

    def _progress(self, job: Job, kind: str, *said: Any) -> None:
        if kind == "choice":
            job.found.append(said[0])
        elif kind == "stage":
            job.stage, job.best = said[0], said[1] or job.best
        else:
            job.stage = kind
        self.changed.emit("choices" if kind == "choice" else "job")

    async def look_for_choices(self) -> None:
        """What to do next."""
        limits = {**self.draft.limits, "on_top": tuple(self.draft.limits["on_top"])}
        await self.run(self.search, "reading the mirror", calls.choices, self.path, limits)

    def begin_work(self, programme: str, planned: list[float], first: str) -> None:
        """Take a programme to the barrel."""
        self.draft.work, self.draft.after, self.draft.conditions = Work(programme, planned, first), [], {}
        self.surfaces.pop("after", None)
        self.tell("work")

    def beat(self) -> None:
        """Note that the clock goes; on to the next spell where one is over."""
        work = self.draft.work
        if work is None or work.since is None:
            return
        now = time.time()
        if work.left <= 0.0:
            work.next_spell()
            self.tell("work")
        elif now - work.beat >= BEAT:
            work.beat = now
            self.tell("beat")

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
                raise InputError("this session is recorded already", expected="one record of it")
            given = {key: value for key, value in self.draft.conditions.items() if value.strip()}
            given["waited"] = f"{max(0.0, time.time() - (work.ended or time.time())) / 60.0:.0f} min"
            done = (work.programme, work.minutes(), self.rows("after"), self.draft.source, given)
            session: dict[str, Any] = await asyncio.to_thread(calls.keep_session, self.path, *done)
            self.draft.work, self.draft.after, self.draft.own = None, [], []
            self._look_again()
        return session

    async def correct(self, function: Callable[..., str], *arguments: Any) -> None:
        """Put a record right, or set one aside, or bring one back; what was done is said to all browsers."""
        async with self._recording:
            try:
                said = await asyncio.to_thread(function, self.path, *arguments)
            except WearsimError as error:
                said = str(error)
            self._look_again()
        self.file_note = said
        self.changed.emit("said")

    def _look_again(self) -> None:
        """At a folder whose sessions were changed."""
        self.search, self.learning, self.surfaces, self.draft.made_from = Job(), Job(), {}, ""
        self.draft.rounds = []
        self.read_folder()
        self.file_note = ""
        self.tell("session")
