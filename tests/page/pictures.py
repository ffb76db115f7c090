"""The pictures of ``docs/page.md``, made from the page itself: ``python -m tests.page.pictures``, from the root."""

from __future__ import annotations

import re
import shutil
import tempfile
from pathlib import Path
from typing import Any

from tests.page.conftest import OVERDONE, ROOT, Screen, Served, find_chromium, new_mirror

IMAGES = ROOT / "docs" / "images"
LONG = 600_000


def draw(browser: Any, served: Served) -> None:
    """One after the other, in the order of the work."""
    desk = Screen(browser, served, 1280, 900)
    draw_readings(desk)
    draw_work(browser, desk)


def draw_readings(desk: Screen) -> None:
    """Three rows, and the surface beside them."""
    page = desk.go("/mirror/invented-200/readings")
    page.locator(".window input").first.click()
    for place in range(3):
        for number in OVERDONE:
            page.keyboard.type(f"{float(number) + 0.01 * place:.2f}")
            page.keyboard.press("Enter")
        page.wait_for_timeout(600)
    page.wait_for_function("document.querySelectorAll('.window input')[1]?.value === '0.82'", timeout=LONG)
    page.get_by_role("img", name=re.compile("The surface with its band")).wait_for(timeout=LONG)
    page.wait_for_timeout(1500)
    page.screenshot(path=IMAGES / "page-readings.png")


def draw_work(browser: Any, desk: Screen) -> None:
    """The choices on a desktop screen, the work on a tablet, the mirrors on a phone."""
    served = desk.served
    page = desk.go("/mirror/invented-200/next")
    desk.press("What should I do next?")
    page.get_by_role("button", name=re.compile("Take this to the barrel: ")).nth(1).wait_for(timeout=LONG)
    page.get_by_role("button", name="What should I do next?").wait_for(timeout=LONG)
    page.evaluate("window.scrollTo(0, document.querySelector('#proposed').getBoundingClientRect().top + scrollY - 16)")
    page.wait_for_timeout(500)
    page.screenshot(path=IMAGES / "page-next.png")
    desk.press("Take this to the barrel: ", exact=False)
    page.locator("#minutes-left").wait_for()
    tablet = Screen(browser, served, 1024, 768, color_scheme="dark")
    page = tablet.go("/mirror/invented-200/barrel")
    tablet.press("Pressed already: on to spell 1")
    tablet.knuckle("Start")
    page.wait_for_timeout(7000)
    page.screenshot(path=IMAGES / "page-barrel.png")
    tablet.press("Pause")
    hand = Screen(browser, served, 390, 700, color_scheme="dark")
    hand.go("/").wait_for_timeout(500)
    hand.page.screenshot(path=IMAGES / "page-mirrors.png")
    for screen in (desk, tablet, hand):
        screen.assert_at_peace()


def main() -> None:
    """With a server and a browser of its own."""
    from playwright.sync_api import sync_playwright

    folder = Path(tempfile.mkdtemp()) / "mirrors"
    folder.mkdir()
    for name in ("invented-200", "invented-second"):
        new_mirror(folder / name)
    served = Served(folder).start()
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=find_chromium(), args=["--no-sandbox"])
            draw(browser, served)
            browser.close()
    finally:
        served.stop()
        shutil.rmtree(folder.parent)


if __name__ == "__main__":
    main()
