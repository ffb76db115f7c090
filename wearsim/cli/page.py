"""``wearsim page``: the whole job in a browser."""

from __future__ import annotations

import webbrowser
from importlib.util import find_spec
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, Annotated

import typer

from wearsim.cli.options import Options
from wearsim.errors import CouldNotError, InputError

if TYPE_CHECKING:
    from wearsim.page.guard import Door

NAME = "page"
EXAMPLE = "wearsim page my-mirror"
NEEDED = ("nicegui", "segno")

Place = Annotated[
    Path,
    typer.Argument(
        metavar="FOLDER",
        help="A mirror's folder, or a folder that contains several of them.",
        show_default="the current folder",
    ),
]
Share = Annotated[
    bool, typer.Option("--share", help="Let devices on the local network open the page at the address shown.")
]
Port = Annotated[
    int | None, typer.Option("--port", min=1024, max=65535, help="Port to listen on.", show_default="8460")
]
NoBrowser = Annotated[bool, typer.Option("--no-browser", help="Do not open a browser.")]


def command(
    options: Options, place: Place = Path(), share: Share = False, port: Port = None, no_browser: NoBrowser = False
) -> None:
    """Do the whole job in a browser; no internet connection needed.

    Runs until you press Ctrl-C. Whatever you enter is saved in the mirror's folder, where the commands use it too.
    """
    if any(find_spec(name) is None for name in NEEDED):
        raise CouldNotError("the page needs extra packages: pip install '.[page]'")
    if not place.is_dir():
        raise InputError(
            "no such folder", file=place, expected="a mirror's folder, or a folder in which to create them"
        )
    from wearsim.page.server import serve

    messages = options.messages

    def say(door: Door, link: str) -> None:
        print(link, flush=True)
        if door.address:
            messages.info(f"For the tablet: {door.link('/', door.address)}")
            messages.info("Anyone on the network who has this address can use the page.")
        messages.info("Ctrl-C ends it; nothing entered is lost.")
        if not no_browser:
            Thread(target=webbrowser.open, args=(link,), daemon=True).start()

    serve(place, share=share, port=port, say=say)
