"""History: the sessions in a line, predicted against measured; a record that was wrong is corrected or set aside."""

from __future__ import annotations

from functools import partial
from typing import Any

from nicegui import context, ui

from wearsim.bench.units import counted, stroke_unit
from wearsim.learn import typed_records
from wearsim.learn.mirror_folder import Session
from wearsim.page import calls, parts
from wearsim.page.live_mirror import LiveMirror
from wearsim.show.strokes import spell_words
from wearsim.worker import Job, Latest


class PastView:
    """The mirror through its sessions."""

    def __init__(self, mirror: LiveMirror) -> None:
        self.mirror, self.job = mirror, Job()
        self.look = Latest(self._look)

    def show(self) -> None:
        """The line of sessions, each with what was done."""
        self.line()
        self.sessions()
        ui.timer(0.1, self.look.ask, once=True)
        context.client.on_delete(self.job.stop)  # whoever has left does not keep others waiting
        parts.follow(self.mirror, {"session", "said"}, self.sessions.refresh)
        parts.follow(self.mirror, {"session"}, self.look.ask)
        parts.follow(self.mirror, {"job"}, self.line.refresh)

    async def _look(self) -> None:
        if self.mirror.sessions:
            await self.mirror.run(self.job, "Predicting each session from what was known before", calls.past)

    @parts.part
    def line(self) -> None:
        """Predicted against read, session by session."""
        if not self.mirror.sessions:
            parts.says("No session is recorded yet.")
            return
        with parts.sheet("Predicted and measured"), parts.group("stack", aria_live="polite"):
            parts.answers(self.job, "The RMS through the sessions, predicted and measured, and each session's surface")
            parts.is_working(self.job)

    @parts.part
    def sessions(self) -> None:
        """Each session in short, and what can be put right."""
        mirror = self.mirror
        parts.says(mirror.file_note, "strong")
        for session in reversed(mirror.sessions):
            with parts.sheet(f"Session {session.number}"):
                self._session(session)
        for name, words in mirror.kept.items():
            with parts.group("row"):
                parts.says(f"Kept, but not counted: {words}")
                bring = partial(mirror.correct, typed_records.bring_back, name)
                parts.button("Restore it", bring, aria_label=f"Restore it: {words}")

    def _session(self, session: Session) -> None:
        note, bench, planned = session.note, self.mirror.bench, [spell.minutes for spell in session.programme.spells]
        assert bench is not None
        parts.says(f"{note.date}, {counted(session.minutes, 'minute')} of work")
        for spell in session.programme.spells:
            parts.says(f"{spell.minutes:g} min, {spell_words(spell, bench.mirror.diameter, stroke_unit(bench))}")
        if note.notes:
            parts.says(note.notes, "quiet")
        changes: dict[str, Any] = {"minutes": list(planned), "notes": note.notes}
        number = session.number
        with parts.fold(f"Correct session {number}"):
            for place, minutes in enumerate(planned):
                words = f"Minutes worked, spell {place + 1}"
                parts.number(words, parts.Entry(minutes, partial(changes["minutes"].__setitem__, place)), 0, 600)
            parts.field("Notes", parts.Entry(note.notes, partial(changes.__setitem__, "notes")))
            change = partial(self.mirror.correct, typed_records.correct_record, number)
            parts.button("Correct the record", lambda: change(*changes.values()))
        if number == len(self.mirror.sessions):
            parts.button("Set this session aside", partial(self.mirror.correct, typed_records.set_aside, number))
