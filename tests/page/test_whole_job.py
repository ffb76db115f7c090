"""The whole job on the page, from nothing to the second proposal; what goes wrong on the way; a thousand random taps."""

from __future__ import annotations

import random
import re
import tomllib
from contextlib import suppress
from typing import Any

import pytest

from tests.page.conftest import READ, Screen, Served, at_the_barrel, kept_draft, read_mirror

pytestmark = pytest.mark.slow
LONG = 900_000
"""Longest wait for a search, kernels compiled first [ms]."""
AFTER = ("0", "0.54", "1.03", "1.41", "1.80")
RANDOM_TAPS = 1000


def _make_mirror(screen: Screen, name: str) -> Any:
    page = screen.go("/")
    screen.press("A new mirror")
    page.get_by_label("Name of the folder").fill(name)
    page.get_by_text("millimetres and kilograms").click()
    for label, text in (
        ("Diameter of the mirror", "200"),
        ("Focal ratio", "f/6"),
        ("Weight of the whole tool", "4.4 lb"),
    ):
        page.get_by_label(label).fill(text)
    page.get_by_text("The glass weighs about").wait_for()
    screen.press("Make this mirror's folder")
    page.locator(".window input").first.wait_for()
    return page


def _read(screen: Screen, numbers: tuple[str, ...]) -> None:
    """Two rounds, the second a hundredth of a millimetre off."""
    page = screen.page
    page.locator(".window input").first.click()
    for place in range(2):
        for number in numbers:
            page.keyboard.type(f"{float(number) + 0.01 * place:.2f}")
            page.keyboard.press("Enter")
        page.get_by_role("button", name=f"Round {place + 2}").wait_for()
        page.wait_for_function("document.activeElement === document.querySelector('.window input')")
    page.get_by_role("img", name=re.compile("The surface with its band")).wait_for()


def _propose(screen: Screen) -> None:
    page = screen.page
    screen.press("What should I do next?")
    page.get_by_role("button", name=re.compile("Take to the barrel")).first.wait_for(timeout=LONG)


@pytest.fixture(scope="module")
def served(serve: Any) -> Served:
    """One server for all of these."""
    return serve()


@pytest.mark.parametrize(("width", "height", "name"), [(1280, 900, "at the desk"), (360, 740, "by hand")])
def test_from_nothing_to_the_second_proposal(served: Served, screens: Any, width: int, height: int, name: str) -> None:
    screen = screens(served, width, height)
    page = _make_mirror(screen, name)
    _read(screen, READ)
    screen.press("What next?")
    _propose(screen)
    page.reload()
    screen.press("Take to the barrel: ", exact=False)
    page.locator("#minutes-left").wait_for()
    screen.press("Begin")
    page.wait_for_timeout(1500)
    page.reload()
    while page.get_by_role("button", name="Pause").or_(page.get_by_role("button", name="Begin")).count():
        page.get_by_role("button", name=re.compile("Stopped here|Leave this spell out")).click()
        page.wait_for_timeout(300)
    screen.press("Afterwards")
    screen.press("As planned")
    page.wait_for_timeout(500)
    page.reload()
    _read(screen, AFTER)
    page.get_by_label("Temperature of the room").fill("63.5 F")
    page.get_by_label("Temperature of the room").fill("18 degC")
    page.get_by_label("Notes").fill("<b>first</b>")
    page.wait_for_timeout(400)
    screen.press("Record this session")
    page.get_by_text("Learning from 1 session").or_(page.get_by_text("Preston coefficient")).first.wait_for()
    page.get_by_role("img", name=re.compile("Each constant")).wait_for(timeout=LONG)
    place = served.folder / name / "01"
    note = tomllib.loads((place / "session.toml").read_text())
    assert note["notes"] == "<b>first</b>" and "0.54" in (place / "readings.toml").read_text()
    screen.press("What next?")
    _propose(screen)
    page = screen.go(f"/mirror/{name}/past")
    page.get_by_role("img", name=re.compile("RMS through the sessions")).wait_for(timeout=LONG)
    _correct(screen)


def _correct(screen: Screen) -> None:
    """Corrected, set aside, brought back: the folder has one session again, and the earlier record."""
    page = screen.page
    page.get_by_text("Correct session 1", exact=True).click()
    page.get_by_label("Minutes worked, spell 1").fill("3.5")
    page.wait_for_timeout(400)
    screen.press("Correct the record")
    page.get_by_text("Session 1 is corrected").wait_for()
    screen.press("Set this session aside")
    page.get_by_text("Session 1 is set aside").wait_for()
    page.get_by_role("button", name=re.compile(r"Bring back session 1 of .*")).first.click()
    page.get_by_text("Session 1 is as it was recorded then").wait_for()


def test_a_search_is_stopped_and_its_findings_stay(served: Served, screens: Any) -> None:
    read_mirror(served, "searched")
    screen = screens(served)
    page = screen.go("/mirror/searched/next")
    _propose(screen)
    screen.press("Stop looking")
    page.get_by_text("Stopped.").wait_for()
    assert page.get_by_role("button", name=re.compile("Take to the barrel")).count() >= 1


def test_the_figure_follows_the_slider(served: Served, screens: Any) -> None:
    read_mirror(served, "slid")
    screen = screens(served)
    page = screen.go("/mirror/slid/next")
    screen.press("Add a spell")
    page.get_by_role("img", name=re.compile("Predicted surface")).wait_for(timeout=LONG)
    before = page.locator("dl.facts").last.inner_text()
    for _ in range(8):
        page.get_by_role("slider", name="Minutes, spell 1").press("ArrowRight")
    page.wait_for_function(
        "before => [...document.querySelectorAll('dl.facts')].at(-1).innerText !== before", arg=before
    )
    second = screens(served)
    second.go("/mirror/slid/next").get_by_text("Minutes: 13 min").wait_for()
    screen.press("Tool on top or mirror on top?")
    page.get_by_role("img", name=re.compile("with the mirror on top")).wait_for(timeout=LONG)


def test_a_killed_server_loses_nothing(serve: Any, browser: Any) -> None:
    served = serve()
    screen = Screen(browser, served)
    page = screen.go("/mirror/first/readings")
    page.locator(".window input").nth(1).fill("0.56")
    kept_draft(served.folder / "first", lambda kept: kept["rounds"][0]["cells"][1] == "0.56")
    served.kill()
    served.start()
    page = screen.go("/mirror/first/readings")
    page.wait_for_function("document.querySelectorAll('.window input')[1]?.value === '0.56'")
    screen.close()
    served.stop()


def test_a_session_is_recorded_once_by_two_browsers(served: Served, screens: Any) -> None:
    at_the_barrel(served, "twice")
    one, two = screens(served), screens(served)
    for screen in (one, two):
        screen.go("/mirror/twice/after")
    one.press("As planned")
    _read(one, AFTER)
    two.page.wait_for_function("document.querySelectorAll('.window input')[4].value !== ''")
    one.page.evaluate(
        "window.record = [...document.querySelectorAll('button')].find(b => b.innerText === 'Record this session')"
    )
    two.page.evaluate(
        "window.record = [...document.querySelectorAll('button')].find(b => b.innerText === 'Record this session')"
    )
    one.page.evaluate("record.click(); record.click()")
    two.page.evaluate("record.click()")
    two.page.get_by_text("This session is recorded.").wait_for()
    one.page.wait_for_timeout(1500)
    assert [place.name for place in sorted((served.folder / "twice").glob("0*"))] == ["01"]


def test_random_taps_break_nothing(served: Served, screens: Any) -> None:
    read_mirror(served, "tapped")
    chance, screen = random.Random(20261130), screens(served, 700, 900)
    page, steps = screen.page, ("readings", "next", "barrel", "after", "past", "print")
    failed = pytest.importorskip("playwright.sync_api").Error
    screen.go("/mirror/tapped/readings")
    for tap in range(RANDOM_TAPS):
        if tap % 25 == 0:
            screen.go(
                f"/mirror/tapped/{chance.choice(steps)}" if chance.random() < 0.8 else chance.choice(["/", "/new"])
            )
        with suppress(failed):  # a tap on a link: the view is gone before it is answered
            page.evaluate(TAP, chance.random())
        page.wait_for_timeout(chance.choice((0, 10, 60)))
    page.wait_for_timeout(3000)


TAP = """(chance) => {
  const all = [...document.querySelectorAll('button, a:not([target]), input, .q-slider, .q-item, .q-radio, [role=option]')]
    .filter(e => e.offsetParent && !e.disabled);
  const one = all[Math.floor(chance * all.length)];
  if (!one) return;
  one.scrollIntoView();
  if (one.tagName === 'INPUT' && !one.readOnly) {
    const numbers = ['0.5', '1.2', '-3', '', '999999'], texts = one.type === 'number' ? numbers :
      [...numbers, '1e400', '<i>', 'abc', '0,7', '\\u0661'];
    const set = Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, 'value').set;
    set.call(one, texts[Math.floor(chance * 1e4) % texts.length]);
    one.dispatchEvent(new Event('input', { bubbles: true }));
  } else { one.click(); }
}"""
"""A tap on something chosen by chance, or a text into it."""
