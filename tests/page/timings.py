"""How long the page takes, as a person sees it: ``python -m tests.page.timings``, from the root; nothing here is a test."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.page.conftest import Screen, Served, find_chromium, read_mirror
from wearsim.page.parts import STEPS

TIMES = 5


def measure(browser: Any, served: Served) -> None:
    """Each view until it can be used; a slider until the numbers, and the picture, follow."""
    read_mirror(served, "timed")
    screen = Screen(browser, served)
    for path in ("/", "/new", *(f"/mirror/timed/{step}" for step in STEPS)):
        _say(f"{path}: until it can be used", lambda path=path: screen.go(path))
    page = screen.go("/mirror/timed/next")
    screen.press("Add a spell")
    page.get_by_role("img", name="Predicted surface", exact=False).wait_for()
    page.wait_for_timeout(5000)
    slider = page.get_by_role("slider", name="Minutes, spell 1").locator("[tabindex]")
    numbers, picture = (
        "document.querySelector('.follows dl.facts').innerText",
        "document.querySelector('img[alt^=Predicted]').src",
    )

    def until_other(what: str) -> None:
        before = page.evaluate(what)
        slider.press("PageUp")  # ten minutes more
        page.wait_for_function(f"before => {what} !== before", arg=before, polling=10)
        page.wait_for_timeout(4000)  # its band

    for words, what in (("numbers", numbers), ("picture", picture)):
        _say(f"a slider: until the {words} follow", lambda what=what: until_other(what), 2, less=4.0)


def _say(words: str, work: Callable[[], Any], times: int = TIMES, less: float = 0.0) -> None:
    taken = []
    for _ in range(times):
        begun = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begun - less)
    print(f"{words}: {sorted(taken)[len(taken) // 2]:.2f} s (median of {times}, worst {max(taken):.2f} s)", flush=True)


def main() -> None:
    """With a server and a browser of its own."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        folder = Path(place) / "mirrors"
        folder.mkdir()
        served = Served(folder)
        _say("wearsim page: until it listens", served.start, 1)
        try:
            browser = playwright.chromium.launch(executable_path=find_chromium(), args=["--no-sandbox"])
            measure(browser, served)
            browser.close()
        finally:
            served.stop()


if __name__ == "__main__":
    main()
