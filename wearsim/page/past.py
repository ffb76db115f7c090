"""So far: the sessions in a line, predicted against read."""

from __future__ import annotations

from nicegui import ui

from wearsim.page import calls
from wearsim.page.live_mirror import Job, LiveMirror
from wearsim.page.parts import follow, group, picture, says, sheet, written


class PastView:
    """The mirror through its sessions."""

    def __init__(self, mirror: LiveMirror) -> None:
        self.mirror, self.job = mirror, Job()

    def show(self) -> None:
        """The line of sessions, each with what was done."""
        if not self.mirror.sessions:
            says("No session is recorded yet.")
            return
        self.line()
        ui.timer(0.1, self._look, once=True)
        self.sessions()
        follow(self.mirror, {"session"}, self.sessions.refresh)

    async def _look(self) -> None:
        found = await self.mirror.run(self.job, "looking back", calls.past, self.mirror.path)
        self.job.found = [found] if found else []
        self.line.refresh()

    @ui.refreshable_method
    def line(self) -> None:
        """Predicted against read, session by session."""
        with sheet("Predicted and read"), group("stack", aria_live="polite"):
            for found in self.job.found:
                picture(
                    found["picture"], "The RMS through the sessions, predicted and read, and each session's surface"
                )
                written(found["text"])
            if self.job.fault:
                says(self.job.fault, "mark")
            elif not self.job.found:
                says(
                    "Each session is predicted again with what was known before it; the first time that takes a while."
                )
                ui.spinner(size="lg")

    @ui.refreshable_method
    def sessions(self) -> None:
        """Each session in short."""
        for session in reversed(self.mirror.sessions):
            with sheet(f"Session {session['number']}"):
                says(f"{session['date']}, {session['minutes']:g} minutes of work")
                for spell in session["spells"]:
                    says(spell)
                if session["notes"]:
                    says(session["notes"], "quiet")
