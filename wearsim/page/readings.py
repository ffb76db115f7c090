"""Readings: the windows as they lie on the mirror, a field for each, and the surface that they say beside them."""

from __future__ import annotations

from contextlib import suppress
from functools import partial
from html import escape

from nicegui import ui

from wearsim.errors import WearsimError
from wearsim.learn import typed_records
from wearsim.learn.draft import Round
from wearsim.page import calls, parts
from wearsim.page.live_mirror import LiveMirror
from wearsim.show.mask import windows_drawing, windows_of
from wearsim.show.text import by_window, sentence
from wearsim.worker import Stopped

NEXT_FIELD = """(event) => {
  const fields = [...document.querySelectorAll('.window input')], to = fields[fields.indexOf(event.target) + 1];
  event.target.blur();
  if (to) { to.focus(); to.select(); return; }
  const another = document.querySelector('.another-row');
  if (!another) return;
  const early = [], collecting = new AbortController();
  document.addEventListener('keydown', one => {
    if (one.key.length === 1 || one.key === 'Enter') { early.push(one.key); one.preventDefault(); one.stopPropagation(); }
  }, { capture: true, signal: collecting.signal });
  setTimeout(() => another.click());
  let looks = 0, look = setInterval(() => {
    const first = document.querySelector('.window input');
    if (first === fields[0] && ++looks < 2000) return;
    clearInterval(look);
    collecting.abort();
    first.focus();
    for (const key of early) {
      const at = document.activeElement;
      if (at.tagName === 'INPUT' && key !== 'Enter') document.execCommand('insertText', false, key);
      else at.dispatchEvent(new KeyboardEvent('keydown', { key, bubbles: true }));
    }
  }, 15);
}"""
"""Enter goes on to the next field, after the last to another row. Left, a field sends what was typed, before the row is
changed; what is typed before the other row is there is typed into it then."""
ENOUGH = 3
"""Rows after which Enter begins no other (common practice, no source)."""


class ReadingsView:
    """The sheet of readings: ``rounds`` of the glass as it is, ``after`` of the session that is being worked."""

    def __init__(self, mirror: LiveMirror, which: str = "rounds") -> None:
        self.mirror, self.which = mirror, which
        blank = None if mirror.sheet is None else mirror.sheet.blank
        self.names, self.shares, self.unit = windows_of(blank, mirror.bench)
        self.units = "inches" if self.unit == "in" else "millimetres"
        self.round, self.here, self.begins, self.opened = mirror.rounds(which)[-1], 0, False, set[str]()

    def show(self) -> None:
        """Fields to the left, the surface to the right; on a narrow screen one after the other."""
        if self.mirror.sheet is None:
            parts.says("This mirror's figure comes from a profile or a map, not from windows: see its bench.toml.")
            return
        with parts.group("beside"):
            with parts.sheet("Knife positions"):
                self._how()
                self.mask = ui.html(windows_drawing(self.shares, self.here), sanitize=False)
                self.rounds_bar()
                self.fields()
            with parts.sheet("The surface"):
                self.surface()
            parts.follow(self.mirror, {"rounds"}, self._new_rounds)
            parts.follow(self.mirror, {"surface"}, self._new_surface)
        self.mirror.readings_changed(self.which)

    def _how(self) -> None:
        parts.says(f"Knife in {self.units}, window evenly dark. Larger is farther from the mirror; any zero will do.")
        parts.says("Enter goes to the next window, and from the last one to another row.")
        parts.says("One row of readings is enough for a first look; three make it surer.", "strong")
        kinds, draft = {"moving": "light moves with the knife", "fixed": "light is fixed"}, self.mirror.draft
        draft.source = draft.source or "moving"
        then = partial(self.mirror.readings_changed, self.which)
        parts.radio("The light source", kinds, parts.Entry.in_table(vars(draft), "source", self.mirror.typed, then))
        if not self.mirror.sessions and self.which == "rounds":
            self._own_windows()

    def _own_windows(self) -> None:
        """For whoever has a mask already, before the first reading."""
        drawn = ", ".join(self.names).replace("\u2013", "-")
        parts.says(f"Windows drawn below: {drawn} {self.unit} from the centre. Is this your mask? Then go on.")
        ui.link("No mask yet? Print this one.", parts.address_of(self.mirror, "print"))
        with parts.fold("My mask has other windows"):
            hint = f"Inner-outer radius of each in {self.units}: {drawn}"
            self.own = parts.field("My mask's windows", parts.Entry("", lambda _: None), hint, debounce="0")
            self.own.on("keydown.enter", self._windows)
            parts.button("Use these windows", self._windows)

    async def _windows(self) -> None:
        try:
            await self.mirror.take_windows(self.own.value)
        except WearsimError as error:
            parts.refuse(error, self.own)

    @parts.part
    def rounds_bar(self) -> None:
        """Which row is typed, and striking it out: before the fields, so that neither Tab nor Enter leads there."""
        rounds = self.mirror.rounds(self.which)
        with parts.group("row", role="group", aria_label="Rows of readings"):
            for place, one in enumerate(rounds):
                words = f"Row {place + 1}{', struck out' if one.struck else ''}"
                parts.button(words, partial(self._to, one), aria_pressed=str(one is self.round).lower())
            words = "Count this row again" if self.round.struck else "Strike this row out"
            parts.button(words, partial(self._strike, self.round, not self.round.struck), "slight")
            if self.round.struck:
                parts.button("Delete this row", partial(self._clear, self.round), "slight")

    def _to(self, one: Round) -> None:
        self.round = one
        self._new_rounds()

    def _another(self) -> None:
        rounds = self.mirror.rounds(self.which)
        if all(one.is_begun or one.struck for one in rounds):
            rounds.append(self.mirror.blank_round())
        self.round = next(one for one in rounds if not (one.is_begun or one.struck))
        self.begins = True
        self.mirror.tell("rounds")

    def _strike(self, one: Round, struck: bool) -> None:
        one.struck = struck
        self.mirror.readings_changed(self.which, "rounds")

    def _clear(self, one: Round) -> None:
        if one in self.mirror.rounds(self.which):
            self.mirror.rounds(self.which).remove(one)
        self.mirror.readings_changed(self.which, "rounds")

    def _new_rounds(self) -> None:
        """Show which there are; the fields stay in the hands of whoever types, where theirs is as it was."""
        rounds, before = self.mirror.rounds(self.which), self.fields_of
        if not self._is_of_this_mask():
            return
        self.round = self.round if self.round in rounds else rounds[-1]
        self.rounds_bar.refresh()
        if self.begins or before != (self.round, self.round.struck):
            self.fields.refresh()
        else:
            self._mark()

    def _is_of_this_mask(self) -> bool:
        """Whether the windows shown are still the sheet's; else all is shown again, in a browser that is still here."""
        sheet = self.mirror.sheet
        if sheet is not None and windows_of(sheet.blank, self.mirror.bench)[0] == self.names:
            return True
        ui.navigate.reload()
        return False

    @parts.part
    def fields(self) -> None:
        """A field for each window of the round, the other rounds' readings beneath it."""
        one = self.round
        self.fields_of = one, one.struck
        self.boxes, self.beneath = [], []
        with parts.group("windows"):
            for zone, name in enumerate(self.names):
                with parts.group("window") as box:
                    self._field(one, zone, f"{zone + 1}: {name} {self.unit}")
                    self.beneath.append(parts.says("", "quiet"))
                self.boxes.append(box)
        is_few = sum(not row.struck for row in self.mirror.rounds(self.which)) < ENOUGH
        parts.button("Another row", self._another, often=True).classes("another-row" if is_few else "")
        self.begins = False
        self._mark()

    def _field(self, one: Round, zone: int, label: str) -> None:
        props = {"inputmode": "decimal", "enterkeyhint": "next", "debounce": "0", "maxlength": "20"}
        field = parts.field(label, self.mirror.cell(self.which, one, zone), **props)
        field.on("keydown.enter", js_handler=NEXT_FIELD)
        field.on("focus", lambda: self._light(zone))
        field.on("blur", self.mirror.typing_ended)
        if self.begins and zone == 0:
            field.props("autofocus")

    def _light(self, zone: int) -> None:
        self.here = zone
        self.mask.content = windows_drawing(self.shares, zone)

    def _mark(self) -> None:
        """Beneath each field the other rounds' readings; a frame and words about one that is far from them."""
        marks = self.mirror.surfaces.get(self.which, {}).get("marks", {})
        counted, rounds = self.mirror.draft.counted(self.which), self.mirror.rounds(self.which)
        place = rounds.index(self.round) if self.round in rounds else -1
        row = counted.index(place) if place in counted else -1
        for zone, (box, words) in enumerate(zip(self.boxes, self.beneath, strict=True)):
            slip = marks.get((row, zone))
            others = [rounds[at].cells[zone] for at in counted if at != place and rounds[at].cells[zone]]
            words.content = escape(f"Check: {slip}" if slip else "other rows: " + ", ".join(others) if others else "")
            box.classes(add="slip" if slip else "", remove="" if slip else "slip")
            words.classes(add="mark" if slip else "", remove="" if slip else "mark")

    def _new_surface(self) -> None:
        if self._is_of_this_mask():  # a browser that has left hears of readings taken with another mask's windows
            self._mark()
            self.surface.refresh()

    @parts.part
    def surface(self) -> None:
        """What the readings show of the glass, with its band; live."""
        mirror, found = self.mirror, self.mirror.surfaces.get(self.which, {})
        with parts.group("stack", aria_live="polite"):
            for note in filter(None, (mirror.file_note, mirror.readings_faults.get(self.which, ""))):
                parts.says(note, "mark")
            if "picture" not in found:
                is_read = mirror.draft.rows(self.which) and not mirror.readings_faults.get(self.which)
                parts.says("Working out the surface." if is_read else "It is drawn here once a row is complete.")
                return
            parts.says(f"RMS of the surface: {found['rms']}. {found['advice']}")
            for line in found["notes"]:
                parts.says(sentence(by_window(line)), "mark" if line.startswith("readings") else "quiet")
            parts.picture(found["picture"], f"The surface with its band; RMS {found['rms']}")
            if found["known"]:
                parts.says(" ".join(found["known"].split()))
            elif self.which == "rounds" and mirror.sessions:
                parts.says("Learn from the sessions, under Afterwards, to see the figure from all of them together.")
            with parts.fold("What the tester should show", self._shadows, self.opened):
                self.shadows = parts.group("stack")
            with parts.fold("All numbers", opened=self.opened):
                parts.written(found["text"])
            if self.which == "rounds":
                self._then(found["verdict"])

    def _then(self, verdict: str) -> None:
        """What the verdict says, then what next; changed readings after a recorded session go into its record first."""
        mirror = self.mirror
        if mirror.is_corrected:
            number = len(mirror.sessions)
            parts.says(f"These readings belong to session {number}. Your changes are not in its record yet.")
            parts.button(f"Correct session {number} with these readings", self._correct)
        if verdict == "open":  # whether it is good enough is not known: reading decides that, no stroke does
            parts.button("Read once more", self._another, "main")
        go = partial(ui.navigate.to, parts.address_of(mirror, "next"))
        parts.button("What next?", go, "main" if verdict == "no" else "plain")

    async def _correct(self) -> None:
        mirror = self.mirror
        given = (len(mirror.sessions), mirror.draft.rows("rounds"), mirror.draft.source)
        await mirror.correct(typed_records.correct_readings, *given)

    async def _shadows(self) -> None:
        sheet, draft = self.mirror.sheet, self.mirror.draft
        assert sheet is not None
        with suppress(Stopped, WearsimError):
            shown = await self.mirror.ask(calls.shadows, sheet.file, draft.rows(self.which), draft.source)
            if not (self.shadows.client.is_deleted or self.shadows.is_deleted):
                self.shadows.clear()
                with self.shadows:
                    parts.picture(shown, "The shadows of this surface, above those of a perfect one", "shadows wide")
