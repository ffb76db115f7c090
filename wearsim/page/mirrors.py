"""The mirrors in the folder, and a new one by questions."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from nicegui import Event, context, ui

from wearsim.bench.materials import called, names
from wearsim.bench.units import counted, length_unit
from wearsim.errors import CouldNotError, WearsimError
from wearsim.learn.bench_answers import given_in
from wearsim.learn.mirror_folder import BENCH, open_folder
from wearsim.learn.new_folder import Question, questions_on_a_sheet, typed_answers
from wearsim.learn.record import create_folder, folder_name, free_folder_name
from wearsim.page import calls, parts
from wearsim.show.notices import CAUTIONS
from wearsim.show.text import sentence

if TYPE_CHECKING:
    from wearsim.page.live_mirror import LiveMirror
    from wearsim.page.server import Room


def mirrors_view(room: Room) -> None:
    """Every mirror of the folder, where it is, and the way to a new one."""
    for mirror in room.mirrors():
        mirror.read_folder()
        with parts.sheet(mirror.name):
            if mirror.fault:
                parts.says(f"This folder cannot be used: {mirror.fault}", "mark")
                continue
            count = len(mirror.sessions)
            done = f"{counted(count, 'session')} recorded" if count else "no session yet"
            parts.says(f"{mirror.title}, {done}{', simulated for practice' if mirror.is_practice else ''}")
            if mirror.draft.work is not None:
                parts.says("Work at the barrel is not recorded yet.", "strong")
            work, read = mirror.draft.work, mirror.draft.rows("rounds") or mirror.sheet is None
            step = ("barrel" if work.ended is None else "after") if work else "next" if read else "readings"
            go = partial(ui.navigate.to, parts.address_of(mirror, step))
            with parts.group("row"):
                parts.button("Continue", go, "main", aria_label=f"Continue with {mirror.name}")
                change = partial(ui.navigate.to, parts.address_of(mirror, "answers"))
                parts.button(parts.CHANGE, change, "slight", aria_label=f"{parts.CHANGE}: {mirror.name}")
    if room.only is None:
        if not room.mirrors():
            parts.says("From knife-edge readings to strokes for figuring your mirror, and back.", "strong")
            parts.says(f"There is no mirror in {room.folder} yet.")
        parts.button("A new mirror", lambda: ui.navigate.to("/new"), "plain" if room.mirrors() else "main")
    with parts.fold("Cautions"):
        parts.caution(*CAUTIONS)


class MirrorAnswers:
    """The questions, the answers so far, and what a bench of them is like: of a new mirror, or of one that is there."""

    def __init__(self, room: Room, mirror: LiveMirror | None = None) -> None:
        self.room, self.mirror = room, mirror
        self.answers, self.typed = room.new_answers, room.typed
        if mirror is not None and mirror.bench is not None:
            given, self.made_from = given_in(open_folder(mirror.path))
            self.answers, self.typed = {"unit": length_unit(mirror.bench).name, **given}, Event()
        self.answers.setdefault("unit", "in")
        self.answers["name"] = self.answers.get("name") or free_folder_name(room.folder)

    def show(self) -> None:
        """The questions on one sheet: going back is looking up."""
        with parts.group("beside"):
            with parts.sheet("Questions"):
                parts.says("Enter sizes with their unit, as you have them. A plain number is taken in:")
                units = {"in": "inches and pounds", "mm": "millimetres and kilograms"}
                parts.radio("Unit of plain numbers", units, self._entry("unit"))
                if self.mirror is None:
                    parts.field("Name of the folder", self._entry("name"), f"Created in {self.room.folder}.")
                needed, rest = questions_on_a_sheet()
                for question in needed:
                    self._ask(question)
                if self.mirror is None:
                    parts.says("That is enough to start. The rest have defaults; all can be changed later.", "strong")
                with parts.fold(f"{len(rest) + 1} more questions, if you like: target, glass, tool, pitch"):
                    for question in rest:
                        self._ask(question)
                    heights = {"": "nanometres", "waves": "waves of light", "millionths": "millionths of an inch"}
                    parts.choice("Heights of the surface in", heights, self._entry("surface_unit"))
            with parts.sheet("What will be created" if self.mirror is None else "What will be saved"):
                self.result()
                words = "Create this mirror's folder" if self.mirror is None else "Save these answers"
                parts.button(words, self._make if self.mirror is None else self._save, "main")
        parts.caution(CAUTIONS[0], CAUTIONS[1], CAUTIONS[-1])

    def _ask(self, question: Question) -> None:
        entry, usual = self._entry(question.key), question.taken[0]
        if question.choices:
            known = zip(names(question.choices), called(question.choices), strict=True)
            options = {"": f"{usual} (default)", **{name: words for name, words in known if name != usual}}
            parts.choice(question.words, options, entry, question.why)
        else:
            why = f"{question.why} Default: {question.usual}." if question.usual else question.why
            parts.field(question.words, entry, why)

    def _entry(self, key: str) -> parts.Entry:
        return parts.Entry.in_table(self.answers, key, self.typed, self.result.refresh)

    @parts.part
    def result(self) -> None:
        """What would be made of the answers, or what is still to be answered."""
        try:
            made = calls.fresh(typed_answers(self.answers))
        except WearsimError as error:
            parts.says(sentence(str(error)), "" if isinstance(error, CouldNotError) else "mark")
            return
        parts.heading(made["title"], 3)
        parts.says(f"From its dimensions the glass weighs about {made['glass']}; the tool is taken as {made['tool']}.")
        parts.says(made["taken"])
        if made["is_heavy"]:
            parts.caution("Lift it with a second person or a hoist; wet glass is slippery.")
        if self.mirror is not None:
            again = " Your sessions are learned from again with these answers." if self.mirror.sessions else ""
            parts.says(f"Everything else about the mirror stays as it is.{again}")
            return
        parts.says(f"A sheet for {made['windows']} windows is included; yours can come next. {made['waiting']}")
        with parts.fold("All other values used, and why"):
            for line in made["defaults"]:
                parts.says(line, "quiet")

    def _make(self) -> None:
        """By the answers as they are; the button stays where it is while they are typed, so that no press is lost."""
        try:
            files = calls.fresh(typed_answers(self.answers))["files"]
            name = folder_name(self.answers["name"])
            create_folder(self.room.folder / name, files.pop(BENCH), files)
        except WearsimError as error:
            return parts.refuse(error)
        self.room.new_answers.clear()
        ui.navigate.to(parts.address_of(self.room.mirror(name), "readings"))

    async def _save(self) -> None:
        assert self.mirror is not None
        client = context.client
        try:
            await self.mirror.change_answers(typed_answers(self.answers), self.made_from)
        except WearsimError as error:
            return parts.refuse(error, client=client)
        if not client.is_deleted:
            client.open(parts.address_of(self.mirror, self.mirror.step))
