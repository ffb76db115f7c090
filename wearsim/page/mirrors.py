"""The mirrors in the folder, and a new one by questions."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

from nicegui import ui

from wearsim.bench.materials import names
from wearsim.errors import InputError, WearsimError
from wearsim.learn.mirror_folder import BENCH
from wearsim.learn.record import create_folder
from wearsim.page import calls, parts
from wearsim.show.notices import CAUTIONS

if TYPE_CHECKING:
    from wearsim.page.live_mirror import LiveMirror
    from wearsim.page.server import Room

_PLAIN = re.compile(r"\s*[0-9]*[.,]?[0-9]+\s*\Z")
_NAME = re.compile(r"[\w][\w .,+-]{0,59}\Z")


def mirrors_view(room: Room) -> None:
    """Every mirror of the folder, where it is, and the way to a new one."""
    for mirror in room.mirrors():
        with parts.sheet(mirror.name):
            if mirror.fault:
                parts.says("This folder cannot be used:", "mark")
                parts.says(mirror.fault)
                continue
            count = len(mirror.sessions)
            done = f"{count} session{'s' * (count != 1)} recorded" if count else "no session yet"
            parts.says(f"{mirror.title}, {done}{', simulated for practice' if mirror.is_practice else ''}")
            if mirror.draft.work is not None:
                parts.says("There is work at the barrel that is not recorded yet.", "strong")
            with parts.group("row"):
                parts.button("Go on", partial(_go_on, mirror), "main", aria_label=f"Go on with {mirror.name}")
    if room.only is None:
        if not room.mirrors():
            parts.says("There is no mirror in this folder yet.")
        with parts.group("row"):
            parts.button("A new mirror", lambda: ui.navigate.to("/new"), "plain" if room.mirrors() else "main")
    with parts.fold("Cautions"):
        for line in CAUTIONS:
            parts.says(line)


def _go_on(mirror: LiveMirror) -> None:
    ui.navigate.to(_place(mirror))


def _place(mirror: LiveMirror) -> str:
    """Where the work on a mirror goes on."""
    work = mirror.draft.work
    if work is not None:
        return parts.address_of(mirror, "after" if work.ended is not None else "barrel")
    read = any(mirror.draft.whole_rounds(mirror.draft.rounds)) or mirror.sheet is None
    return parts.address_of(mirror, "next" if read else "readings")


@dataclass(frozen=True)
class Question:
    """One question about a new mirror.

    Parameters
    ----------
    key : str
        Of :class:`wearsim.learn.new_folder.Answers`.
    words, why, usual : str
        What is asked; why, and what is taken where nothing is answered.
    plain : str
        Unit of a plain number in inches, and in millimetres: "in mm".
    """

    key: str
    words: str
    why: str
    usual: str = ""
    plain: str = ""
    choices: str = ""


QUESTIONS = (
    Question("diameter", "Diameter of the mirror", "From edge to edge of the glass: 200 mm, 8 in, 8\".", plain="in mm"),
    Question("focal_ratio", "Focal ratio", "Focal length over diameter: 6 or f/6."),
    Question("thickness", "Thickness at the edge", "For the weight, and for how long it cools.", "38 mm, 1 1/2 in", "in mm"),
    Question("glass", "Glass", "For its density, and how fast it wears.", "borosilicate, the usual", choices="glasses"),
    Question("lap_diameter", "Diameter of the lap", "Of the pitch.", "the same as the mirror's", "in mm"),
    Question("lap_mass", "Weight of the whole tool", "Put it on the scales.", "as a disc of the mirror's glass", "lb kg"),
    Question("pitch", "Pitch", "How soft it is: for its stiffness, and how quickly it flows.", "medium", choices="pitches"),
    Question("push", "Push of the hands", "Downward, on top of the weight: 30 N, 7 lbf.", "30 N (7 lbf, 3 kg)", "lbf N"),
)  # fmt: skip


class NewMirror:
    """The questions, the answers so far, and what would be made of them."""

    def __init__(self, room: Room) -> None:
        self.room, self.answers = room, room.new_answers
        self.unit = self.answers.setdefault("unit", "in")

    def show(self) -> None:
        """The questions on one sheet: going back is looking up."""
        with parts.group("beside"):
            with parts.sheet("Questions"):
                parts.says("Write sizes with their unit, as you have them. A plain number is taken in:")
                units = {"in": "inches and pounds", "mm": "millimetres and kilograms"}
                parts.radio("Unit of plain numbers", units, self.unit, partial(self._answer, "unit"))
                self._field("name", "Name of the folder", "Such as my-mirror; a new folder is made with it.")
                for question in QUESTIONS:
                    self._ask(question)
            with parts.sheet("What this makes"):
                self.result()
        parts.caution(CAUTIONS[0], CAUTIONS[1], CAUTIONS[-1])

    def _ask(self, question: Question) -> None:
        why = f"{question.why} Left open: {question.usual}." if question.usual else question.why
        if question.choices:
            options = {"": "left open", **{name: name for name in names(question.choices)}}
            value = self.answers.get(question.key, "")
            parts.choice(question.words, options, value, partial(self._answer, question.key), why)
        else:
            self._field(question.key, question.words, why)

    def _field(self, key: str, words: str, why: str) -> None:
        parts.field(words, self.answers.get(key, ""), partial(self._answer, key), why)

    def _answer(self, key: str, value: str) -> None:
        self.answers[key] = value
        self.result.refresh()

    def _as_given(self) -> dict[str, Any]:
        """The answers with the unit of plain numbers written out; those left open are not there."""
        given: dict[str, Any] = {}
        for question in QUESTIONS:
            text = self.answers.get(question.key, "").strip()
            if not text:
                continue
            unit = question.plain.split()[self.answers["unit"] == "mm"] if question.plain else ""
            given[question.key] = f"{text.replace(',', '.')} {unit}" if unit and _PLAIN.match(text) else text
        return given

    @ui.refreshable_method
    def result(self) -> None:
        """What would be made of the answers, or what is still to be answered."""
        given = self._as_given()
        missing = [q.words.lower() for q in QUESTIONS if not q.usual and q.key not in given]
        if missing:
            parts.says("Still to be answered: " + ", ".join(missing) + ".")
            return
        try:
            made = calls.fresh(given)
        except WearsimError as error:
            parts.says(_plainly(error), "mark")
            return
        parts.heading(made["title"], 3)
        parts.says(f"By its sizes the glass weighs about {made['glass']}. The tool is taken as {made['tool']}.")
        if made["is_heavy"]:
            parts.caution("Lift it with a second person or a hoist; wet glass is slippery.")
        parts.says(f"A sheet for readings with a mask of {made['windows']} windows is made with it. {made['waiting']}")
        parts.button("Make this mirror's folder", lambda: self._make(dict(made["files"])), "main")
        with parts.fold("What is taken for everything else, and why"):
            for key, value, source in made["defaults"]:
                parts.says(
                    f"{key.replace('.', ', ').replace('_', ' ')}: {value}. {source[0].upper()}{source[1:]}.", "quiet"
                )
            parts.says("All of it is in bench.toml in the folder, and can be changed there.")

    def _make(self, files: dict[str, str]) -> None:
        name = self.answers.get("name", "").strip()
        try:
            if not _NAME.match(name) or name.endswith("."):
                raise InputError(
                    "not a name for a folder", key="name", value=name, expected="letters, digits, blanks and -"
                )
            bench = files.pop(BENCH)
            create_folder(self.room.folder / name, bench, files)
        except WearsimError as error:
            parts.tell(_plainly(error))
            return
        self.room.new_answers.clear()
        ui.navigate.to(parts.address_of(self.room.mirror(name), "readings"))


def _plainly(error: WearsimError) -> str:
    text = str(error)
    return text[0].upper() + text[1:]
