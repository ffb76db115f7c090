"""A page that is served for the tests, and a browser that looks at it."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from wearsim.page.live_mirror import BOUNCE

ROOT = Path(__file__).parents[2]
ELSEWHERE = "elsewhere.example"
"""A name that the browser takes for this machine, as if whoever owns it had pointed it there."""
START = 180.0
"""Longest wait for a server [s], on a machine with much else to do."""
WAIT = 120_000
"""Longest wait for what a browser should show [ms]."""
ANSWERS = 20.0
"""Longest wait for the answer to a plain request, where a browser got none [s]."""


def find_chromium() -> str | None:
    """Of the machine; None where there is none."""
    return next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Debian's chromium; where there is none, these tests say so, and fail where CI is set."""
    path = find_chromium()
    if path is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)("no chromium: apt-get install chromium")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        switches = ["--no-sandbox", "--autoplay-policy=no-user-gesture-required"]
        made = playwright.chromium.launch(
            executable_path=path, args=[*switches, f"--host-resolver-rules=MAP {ELSEWHERE} 127.0.0.1"]
        )
        yield made
        made.close()


@dataclass
class Served:
    """A server in a process of its own, and what it printed."""

    folder: Path
    arguments: tuple[str, ...] = ()
    port: int = 0
    process: Any = None
    log: Path = field(default_factory=Path)

    def start(self) -> Served:
        """Begin to serve, on the same port again where it was served before."""
        if not self.port:
            with socket.socket() as probe:
                probe.bind(("127.0.0.1", 0))
                self.port = probe.getsockname()[1]
        self.log = self.folder.parent / f"{self.folder.name}.log"
        python = [sys.executable, "-X", "faulthandler", "-m", "wearsim"]
        command = [*python, "page", str(self.folder), "--no-browser", "--port", str(self.port)]
        with self.log.open("a") as log:
            self.process = subprocess.Popen([*command, *self.arguments], cwd=ROOT, stdout=log, stderr=log)
        self._wait()
        return self

    def _wait(self) -> None:
        end = time.monotonic() + START
        while time.monotonic() < end:
            assert self.process.poll() is None, self.log.read_text()
            with suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 1.0):
                return
            time.sleep(0.05)
        raise AssertionError(self.log.read_text())

    def kill(self) -> None:
        """As a power cut does."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def stop(self) -> None:
        """As Ctrl-C does."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.wait(15)
            except subprocess.TimeoutExpired:
                self.kill()

    def what_it_does(self) -> str:
        """Where every thread of a server that does not answer is, its main one first, and what it printed before; it is
        ended by that."""
        self.process.send_signal(signal.SIGABRT)
        self.process.wait()
        before, mark, main = self.log.read_text().rpartition("Current thread")
        return f"{mark}{main}\n{before}"

    def address(self, path: str = "/") -> str:
        """Of a view."""
        return f"http://127.0.0.1:{self.port}{path}"

    @property
    def link(self) -> str:
        """The first line that was printed: where to go."""
        return next(line for line in self.log.read_text().splitlines() if line.startswith("http://"))

    def assert_quiet(self) -> None:
        """No traceback was printed."""
        said = self.log.read_text()
        assert "Traceback" not in said and "most likely a bug" not in said, said


READ = ("0", "0.55", "1.05", "1.42", "1.78")
"""Knife positions of an invented surface through the windows of such a mirror [mm]."""


OVERDONE = ("0", "0.8", "1.4", "2.0", "2.5")
"""Of one that went too far, to a conic constant of -1.5: there is something to do, and it is found soon."""


def new_mirror(place: Path) -> Path:
    """A folder as ``wearsim new`` makes it, of an invented mirror of 200 mm."""
    from wearsim.learn.new_folder import Answers, fresh_folder

    place.mkdir()
    for path, text in fresh_folder(Answers("200 mm", 6.0, "2 kg")).files(place).items():
        path.write_text(text, encoding="utf-8")
    return place


def read_mirror(served: Served, name: str) -> Path:
    """A new mirror that was read twice."""
    from wearsim.learn.mirror_folder import open_folder
    from wearsim.learn.typed_readings import newest_sheet, write_rows

    folder = open_folder(new_mirror(served.folder / name))
    sheet = newest_sheet(folder)
    assert sheet is not None
    write_rows(folder, [list(OVERDONE), [f"{float(one) + 0.01:.2f}" for one in OVERDONE]], "moving", sheet.digest)
    return folder.path


TAKEN = (
    '[[spell]]\nstroke = "w"\nlength = 0.3\nside_sweep = 0.1\nminutes = 4\n\n[[spell]]\nstroke = "press"\nminutes = 5\n'
)


def at_the_barrel(served: Served, name: str, **more: Any) -> None:
    """A new mirror with a programme that was taken to the barrel, as a server finds it that was started anew."""
    work = {
        "programme": TAKEN, "planned": [4.0, 5.0], "done": [0.0, 0.0], "spell": 0, "since": None, "beat": 0, "ended": None,
        **more,
    }  # fmt: skip
    kept = json.dumps({"rounds": [], "after": [], "work": work})
    (new_mirror(served.folder / name) / "page.json").write_text(kept, encoding="utf-8")


def kept_draft(folder: Path, is_there: Callable[[dict[str, Any]], Any]) -> dict[str, Any]:
    """What the page keeps in a mirror's folder, as soon as something is in it."""
    end, found = time.monotonic() + WAIT / 1000, None
    while time.monotonic() < end:
        with suppress(OSError, ValueError):
            found = json.loads((folder / "page.json").read_text(encoding="utf-8"))
            if is_there(found):
                return dict(found)
        time.sleep(0.1)
    raise AssertionError(f"not kept: {found}")


@pytest.fixture(scope="module")
def serve(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """What serves a new folder with one mirror in it, ``first``; ended with the file's tests."""
    there: list[Served] = []

    def begin(*arguments: str) -> Served:
        folder = tmp_path_factory.mktemp("mirrors")
        new_mirror(folder / "first")
        there.append(Served(folder, arguments).start())
        return there[-1]

    yield begin
    for one in there:
        one.stop()


def fetch(address: str, *, timeout: float = 60.0, **headers: str) -> tuple[int, str]:
    """Status and text of an answer to a plain request; OSError where there is none within so long [s]."""
    request = urllib.request.Request(address, headers={key.replace("_", "-"): value for key, value in headers.items()})
    try:
        with urllib.request.urlopen(request, timeout=timeout) as answer:
            return answer.status, answer.read().decode("utf-8", "replace")
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.read().decode("utf-8", "replace")


class Screen:
    """A browser's window on a server: everything that it asks for and complains of is kept."""

    def __init__(self, browser: Any, served: Served, width: int = 1280, height: int = 900, **more: Any) -> None:
        self.served, self.wrong = served, pytest.importorskip("playwright.sync_api").Error
        self.context = browser.new_context(viewport={"width": width, "height": height}, **more)
        self.page = self.context.new_page()
        self.page.set_default_timeout(WAIT)
        self.complaints: list[str] = []
        self.asked: list[str] = []
        self.unanswered: dict[Any, str] = {}
        self.page.on("console", self._said)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", self._asks)
        for end in ("requestfinished", "requestfailed"):
            self.page.on(end, lambda request: self.unanswered.pop(request, None))

    def _said(self, message: Any) -> None:
        if message.type in ("error", "warning"):
            self.complaints.append(message.text)

    def _asks(self, request: Any) -> None:
        self.asked.append(request.url)
        self.unanswered[request] = request.url

    def go(self, path: str) -> Any:
        """To a view, until it can be used; again where a navigation that a touch before began has come between.

        Then the browser lets go of its own request, and may hear of that later: only a plain request shows whether the
        server answers.
        """
        failed: list[str] = []
        for _ in range(4):
            try:
                self.page.goto(self.served.address(path), timeout=WAIT / 4)
                return self.ready()
            except self.wrong as error:
                failed.append(str(error))
            self._assert_answers(path, failed)
        raise AssertionError(f"{path}: not there, though the server answers\n{failed}")

    def _assert_answers(self, path: str, failed: list[str]) -> None:
        try:
            status, text = fetch(self.served.address(path), timeout=ANSWERS)
            assert status < 500, f"{path}: {status} {text[:2000]}"
        except OSError as error:
            waiting = [url for url in self.unanswered.values() if not url.startswith("data:")]
            said = f"{path}: the server does not answer: {error}\n{failed}\nalso waited for: {waiting}"
            raise AssertionError(f"{said}\n{self.served.what_it_does()}") from error

    def reload(self) -> Any:
        """The same view again, until it can be used."""
        self.page.reload()
        return self.ready()

    def ready(self) -> Any:
        """Wait until the view can be used."""
        self.page.wait_for_function("window.did_handshake === true && document.querySelector('h1') !== null")
        return self.page

    def press(self, name: Any, **more: Any) -> None:
        """A button by its name, in a view that can be used."""
        self.ready().get_by_role("button", name=name, **more).first.click()

    def knuckle(self, name: Any) -> None:
        """A button at the barrel, not at once after another one: that would count for nothing."""
        self.page.wait_for_timeout(1000 * BOUNCE + 100)
        self.press(name)

    def obstacles(self) -> list[tuple[str, list[str]]]:
        """What stands in the way of a screen reader: the rule of axe-core, and where."""
        from axe_playwright_python.sync_playwright import Axe

        self.page.wait_for_timeout(250)
        found = Axe().run(self.page).response["violations"]
        return [(one["id"], [node["html"][:160] for node in one["nodes"]][:3]) for one in found]

    def assert_at_peace(self) -> None:
        """No complaint of the browser's, no request that left this machine."""
        assert self.complaints == []
        away = [url for url in self.asked if not url.startswith((self.served.address(""), "data:", "blob:"))]
        assert away == []

    def close(self) -> None:
        """The window."""
        self.context.close()


@pytest.fixture
def screens(browser: Any) -> Iterator[Any]:
    """What opens windows; closed after the test, which fails where a browser complained."""
    there: list[Screen] = []

    def look(served: Served, width: int = 1280, height: int = 900, **more: Any) -> Screen:
        there.append(Screen(browser, served, width, height, **more))
        return there[-1]

    yield look
    for one in there:
        one.close()
    for one in there:
        one.assert_at_peace()
        one.served.assert_quiet()
