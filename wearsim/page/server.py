"""The server of the page: the folder it is for, its addresses, the two processes that work for it."""

from __future__ import annotations

import asyncio
import gc
import socket
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any

import uvicorn
from fastapi import FastAPI, Response
from nicegui import Event, ui

from wearsim.errors import CouldNotError, InputError, WearsimError
from wearsim.learn.mirror_folder import BENCH
from wearsim.learn.proposal_file import CARD
from wearsim.page import calls
from wearsim.page.afterwards import AfterwardsView
from wearsim.page.barrel import BarrelView, tablet_code
from wearsim.page.choices import ChoicesView
from wearsim.page.guard import Door, Guard
from wearsim.page.live_mirror import LiveMirror
from wearsim.page.mirrors import MirrorAnswers, mirrors_view
from wearsim.page.parts import LOOKS, STEPS, frame, says
from wearsim.page.past import PastView
from wearsim.page.prints import PrintView
from wearsim.page.readings import ReadingsView
from wearsim.worker import Desk

BEATS = 0.5
"""Between two looks at the clocks of the work at the barrel [s]."""
PORTS = range(8460, 8480)


class Room:
    """The page's folder, a mirror's or one with mirrors' folders in it, and the mirrors."""

    def __init__(self, place: Path, desk: Desk) -> None:
        is_mirror = (place / BENCH).is_file()
        self.folder = place.parent if is_mirror else place
        self.only = place.name if is_mirror else None
        self.desk, self.look = desk, {"name": next(iter(LOOKS))}
        self.new_answers: dict[str, str] = {}
        self.typed: Event[str, Any, Any] = Event()
        self.door = Door(0)
        self._known: dict[str, LiveMirror] = {}

    def mirrors(self) -> list[LiveMirror]:
        """Mirrors of the folder, by name; a new one is found, one that is gone forgotten."""
        names = [self.only] if self.only else sorted(one.parent.name for one in self.folder.glob(f"*/{BENCH}"))
        self._known = {name: self._known.get(name) or LiveMirror(self.folder / name, self.desk) for name in names}
        return list(self._known.values())

    def mirror(self, name: str) -> LiveMirror:
        """By its name, which must be one of a list: no request names a path.

        Raises
        ------
        InputError
            Where there is none of this name.
        """
        found = self._known.get(name) or {one.name: one for one in self.mirrors()}.get(name)
        if found is None:
            raise InputError("no mirror of this name here", value=name, expected="one from the list of mirrors")
        return found

    async def work(self) -> None:
        """What goes on for as long as the server runs: be ready for readings, and for strokes; look at the clocks."""
        ready = self.desk.quick.ask(calls.warm_up), self.desk.prepare(calls.warm_up_strokes)
        await asyncio.gather(self._beat(), *ready, return_exceptions=True)

    async def _beat(self) -> None:
        while True:
            for mirror in list(self._known.values()):
                mirror.beat()
            await asyncio.sleep(BEATS)

    def close(self) -> None:
        """Keep what was typed a moment before."""
        for mirror in self._known.values():
            with suppress(CouldNotError):
                mirror.save(mirror.draft.text)
        self.desk.close()


def application(room: Room) -> FastAPI:
    """The page as an application of the web, still without its door."""

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        work = asyncio.create_task(room.work())
        yield
        work.cancel()
        room.close()

    app = FastAPI(lifespan=lifespan, docs_url=None, redoc_url=None, openapi_url=None)
    _add_pages(room)
    _add_prints(app, room)
    ui.run_with(app, title="wearsim", language="en-US", dark=None, tailwind=False, show_welcome_message=False)
    return app


def _add_pages(room: Room) -> None:
    views: dict[str, Any] = {
        "readings": ReadingsView, "next": ChoicesView, "barrel": BarrelView, "after": AfterwardsView, "past": PastView,
        "print": PrintView, "answers": partial(MirrorAnswers, room),
    }  # fmt: skip
    titles = {**STEPS, "answers": "The mirror's answers"}

    @ui.page("/")
    def all_mirrors() -> None:
        with frame("Mirrors", room.look):
            mirrors_view(room)

    @ui.page("/new")
    def new_mirror() -> None:
        with frame("A new mirror", room.look):
            MirrorAnswers(room).show()

    @ui.page("/mirror/{name}/{step}")
    def one_step(name: str, step: str) -> None:
        try:
            mirror = room.mirror(name)
            if step not in titles:
                raise InputError("no such step", value=step, expected=", ".join(STEPS))
        except WearsimError as error:
            with frame("Page not found", room.look):
                says(str(error))
            return
        mirror.read_folder()
        with frame(titles[step], room.look, mirror, step):
            if mirror.fault:
                says(f"This folder cannot be used: {mirror.fault}", "mark")
                return
            try:
                views[step](mirror).show()
            except WearsimError as error:  # a bench of which no questions can be asked
                says(str(error), "mark")
            if step == "barrel":
                tablet_code(mirror, room)


def _add_prints(app: FastAPI, room: Room) -> None:
    @app.get("/print/{name}/{what}")
    async def printed(name: str, what: str) -> Response:
        try:
            mirror = room.mirror(name)
            if what == "card" and (mirror.path / CARD).is_file():
                content = (mirror.path / CARD).read_bytes()
            elif what == "mask":
                content = await mirror.ask(calls.mask_pdf)
            else:
                raise InputError("nothing of this kind to print yet", value=what, expected="card or mask")
        except WearsimError as error:
            return Response(str(error), 404, media_type="text/plain")
        head = {"Content-Disposition": f'inline; filename="{what}.pdf"', "Cache-Control": "no-store"}
        return Response(content, media_type="application/pdf", headers=head)


def free_port(listens_on: str, wanted: int | None) -> int:
    """A port to listen on: the one that is wanted, else the first free one of ours.

    Raises
    ------
    CouldNotError
        Where none is free.
    """
    for port in PORTS if wanted is None else [wanted]:
        with socket.socket() as probe, suppress(OSError):
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind((listens_on, port))
            return int(probe.getsockname()[1])
    raise CouldNotError(f"port {wanted or f'{PORTS[0]} to {PORTS[-1]}'}: in use; another wearsim page? (--port)")


def serve(place: Path, *, share: bool, port: int | None, say: Callable[[Door, str], None]) -> None:
    """Serve the page until it is interrupted.

    Parameters
    ----------
    place : Path
        A mirror's folder, or one with mirrors' folders in it.
    share : bool
        Whether the local network may come in, with the word in the address.
    say : callable
        Takes the door and the link for this machine, as soon as it answers.
    """
    number = free_port("0.0.0.0" if share else "127.0.0.1", port)
    room = Room(place.resolve(), Desk())
    room.door = Door.shared(number) if share else Door(number)
    link = room.door.link(f"/mirror/{room.only}/readings" if room.only else "/")
    app = Guard(application(room), room.door)

    async def answers() -> None:
        say(room.door, link)

    config = uvicorn.Config(
        app, host=room.door.listens_on, port=number, log_level="warning", access_log=False, server_header=False,
        ws_max_size=1024 * 1024, lifespan="on", timeout_graceful_shutdown=2,
        # once, as soon as it listens: not again within so many seconds
        callback_notify=answers, timeout_notify=10**9,
    )  # fmt: skip
    room.mirrors()  # what is slow to load is loaded before anybody waits
    gc.freeze()  # and what is loaded by then is not searched again and again for garbage, while everybody waits
    uvicorn.Server(config).run()
