"""The whole job on the page, from nothing to the second proposal; what goes wrong on the way; a thousand random taps.

Searches are asked for few minutes, so that they are short. Whatever is waited for is shown or kept in a file: nothing here
rests on how fast the machine is.
"""

from __future__ import annotations

import json
import random
import re
import tomllib
from contextlib import suppress
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

from tests.page.conftest import OVERDONE, TAKEN, Screen, Served, at_the_barrel, kept_draft, new_mirror, read_mirror
from wearsim.page.live_mirror import BOUNCE
from wearsim.show.choices import COLUMNS

pytestmark = pytest.mark.slow
LONG = 600_000
"""Longest wait for a search or a calibration, kernels compiled first, on a machine with much else to do [ms]."""
AFTER = ("0", "0.68", "1.12", "1.62", "2.08")
"""What is read after the work that is proposed for such a mirror, about as predicted: half of the way."""
FEW = {"minutes": 6.0, "spells": 1, "top": "tool"}
RANDOM_TAPS = 1000
SURFACE = re.compile("The surface with its band")
TAKE = re.compile("Take this to the barrel: ")


@pytest.fixture(scope="module")
def served(serve: Any) -> Served:
    """One server for all of these."""
    return serve()


INSIDE = """([heads, width]) => heads.every(head => {
  const boxes = [...document.querySelectorAll(`td[data-head='${head}']`)].map(cell => cell.getBoundingClientRect());
  return boxes.length && boxes.every(box => box.width > 0 && box.left >= 0 && box.right <= width);
})"""
"""Whether all cells under these heads are seen on a screen of this width."""


def _make_mirror(screen: Screen, name: str) -> Any:
    page = screen.go("/")
    screen.press("A new mirror")
    page.get_by_label("Name of the folder").wait_for()
    screen.ready()  # what is typed before that is not taken
    page.get_by_label("Name of the folder").fill(name)
    page.get_by_text("millimetres and kilograms").click()
    page.get_by_text(re.compile("more questions, if you like")).click()
    answers = {"Diameter of the mirror": "200", "Focal ratio": "f/6", "Weight of the whole tool": "4.4 lb"}
    for label, text in answers.items():
        page.get_by_label(label).fill(text)
    page.get_by_text("The glass weighs about").or_(page.get_by_text("the glass weighs about")).wait_for()
    screen.press("Create this mirror's folder")
    page.locator(".window input").first.wait_for()
    screen.ready()
    return page


def _read(screen: Screen, numbers: tuple[str, ...]) -> None:
    """Two rounds without a pause, the second a hundredth of a millimetre off; all of it arrives."""
    page = screen.page
    page.locator(".window input").first.click()
    for place in range(2):
        for number in numbers:
            page.keyboard.type(f"{float(number) + 0.01 * place:.2f}")
            page.keyboard.press("Enter")
    page.get_by_role("button", name="Row 3").wait_for()
    page.get_by_role("img", name=SURFACE).wait_for()


def _few_minutes(screen: Screen) -> None:
    """A search that is over soon."""
    page = screen.page
    page.get_by_label("Maximum minutes of work").fill("6")
    for label, option in (("Maximum different strokes", "1"), ("Which piece may be on top", "the tool")):
        page.get_by_label(label).click()
        page.get_by_role("option", name=option, exact=True).click()


def _propose(screen: Screen) -> None:
    screen.press("What should I do next?")
    screen.page.get_by_role("button", name=TAKE).first.wait_for(timeout=LONG)


@pytest.mark.parametrize(("width", "height", "name"), [(1280, 900, "at the desk"), (360, 740, "by hand")])
def test_from_nothing_to_the_second_proposal(served: Served, screens: Any, width: int, height: int, name: str) -> None:
    screen, place = screens(served, width, height), served.folder / name
    page = _make_mirror(screen, name)
    _read(screen, OVERDONE)
    screen.press("What next?")
    page.get_by_label("Maximum minutes of work").wait_for()
    screen.ready()
    _few_minutes(screen)
    _propose(screen)
    assert "0.81" in (place / "readings.toml").read_text()
    kept_draft(place, lambda kept: kept["limits"] == FEW)
    assert width > 1000 or screen.obstacles() == []
    page.wait_for_function(
        INSIDE, arg=[list(COLUMNS.values())[1:], width]
    )  # the table is shown again while more is found
    screen.reload()
    page.get_by_role("button", name=TAKE).first.click()
    _work(screen, place)
    screen.press("Test and record")
    page.get_by_role("button", name="As planned").wait_for()
    screen.ready()
    page.get_by_text(re.compile(r"^Test in (\d+ min|about \d+(\.5)? h), at \d\d:\d\d$")).wait_for()
    card = page.request.get(screen.served.address(f"/print/{quote(name)}/card"))
    assert card.ok and card.body().startswith(b"%PDF")
    screen.press("As planned")
    kept_draft(place, lambda kept: kept["work"]["corrected"])
    _record(screen, place)
    screen.press("What next?")
    page.get_by_label("Maximum minutes of work").wait_for()
    screen.ready()
    _propose(screen)
    if width > 1000:
        screen.go(f"/mirror/{quote(name)}/past")
        page.get_by_role("img", name=re.compile("RMS through the sessions")).wait_for(timeout=LONG)
        screen.go(f"/mirror/{quote(name)}/readings").get_by_text("From all sessions together").first.wait_for()


def _work(screen: Screen, place: Path) -> None:
    """At the barrel: begun, reloaded, every spell stopped, to the end."""
    page = screen.page
    page.locator("#minutes-left").wait_for()
    screen.ready()
    screen.press("Begin pressing")
    page.get_by_role("button", name="It fits: on to spell 1").wait_for()
    screen.reload()
    screen.knuckle("It fits: on to spell 1")  # in less than half a minute: that is no pressing
    page.get_by_role("button", name="Start").wait_for()
    screen.knuckle("Start")
    page.get_by_role("button", name="Pause").wait_for()
    screen.reload()
    failed = pytest.importorskip("playwright.sync_api").Error
    afterwards, going = (
        page.get_by_role("button", name=name)
        for name in ("Test and record", re.compile("Stopped here|Skip this spell"))
    )
    while True:
        afterwards.or_(going).first.wait_for()
        if afterwards.count():
            break
        page.wait_for_timeout(1000 * BOUNCE + 100)
        with suppress(failed):  # the end was shown a moment before
            going.first.click(timeout=5_000)
    kept_draft(place, lambda kept: kept["work"]["ended"])


def _record(screen: Screen, place: Path) -> None:
    """Read, recorded with its conditions, learned from."""
    page = screen.reload()
    _read(screen, AFTER)
    page.get_by_label("Temperature of the room").fill("18 \u00b0C")
    page.get_by_label("Notes").fill("<b>first</b>")
    kept_draft(place, lambda kept: set(kept["conditions"].values()) == {"18 \u00b0C", "<b>first</b>"})
    screen.press("Record this session")
    page.get_by_role("img", name=re.compile("Each constant")).wait_for(timeout=LONG)
    note = tomllib.loads((place / "01" / "session.toml").read_text())
    assert note["notes"] == "<b>first</b>" and "0.69" in (place / "01" / "readings.toml").read_text()


def test_a_record_is_corrected_set_aside_and_brought_back(served: Served, screens: Any) -> None:
    place = read_mirror(served, "put right")
    _recorded(place)
    screen = screens(served)
    page = screen.go("/mirror/put%20right/past")
    page.get_by_text("Correct session 1", exact=True).click()
    page.get_by_label("Minutes worked, spell 1").fill("3.5")
    page.get_by_label("Notes").fill("put right")
    screen.press("Correct the record")
    page.get_by_text("Session 1 is corrected").wait_for()
    assert "3.5" in (place / "01" / "programme.toml").read_text()
    screen.press("Set this session aside")
    page.get_by_text("Session 1 is set aside").wait_for()
    page.get_by_role("button", name=re.compile("Restore it: session 1 of .*")).first.click()
    page.get_by_text("Session 1 is as it was recorded then").wait_for()


def _recorded(place: Path) -> None:
    """A first session, recorded as a command does."""
    from wearsim.learn import typed_records

    typed_records.keep_session(place, TAKEN, [4.0, 5.0], [list(AFTER)], "moving", {})


def test_a_search_is_stopped_and_no_other(served: Served, screens: Any) -> None:
    for name in ("searched", "waiting"):
        read_mirror(served, name)
    screen, other = screens(served), screens(served)
    page = screen.go("/mirror/searched/next")
    other.go("/mirror/waiting/next")
    page.get_by_label("Maximum minutes of work").fill("600")
    screen.press("What should I do next?")
    page.get_by_role("button", name="Stop looking").wait_for()
    other.press("What should I do next?")
    other.press("Stop looking")  # what waits for its turn, not the search before it
    other.page.get_by_text("Stopped.").wait_for()
    page.get_by_text(re.compile(r"best so far \d+ nm RMS")).wait_for(timeout=LONG)
    screen.press("Stop looking")
    page.get_by_text("Stopped.").wait_for()


def test_the_figure_follows_the_slider(served: Served, screens: Any) -> None:
    read_mirror(served, "slid")
    screen, second = screens(served), screens(served)
    page = screen.go("/mirror/slid/next")
    screen.press("Add a spell")
    picture = page.get_by_role("img", name=re.compile("Predicted surface"))
    picture.wait_for(timeout=LONG)
    before = picture.get_attribute("src")
    minutes = page.get_by_role("slider", name="Minutes, spell 1").locator("[tabindex]")
    for _ in range(8):
        minutes.press("ArrowRight")
    page.get_by_text("Minutes: 13 min").wait_for()
    page.wait_for_function("before => document.querySelector('img[alt^=Predicted]').src !== before", arg=before)
    second.go("/mirror/slid/next").get_by_text("Minutes: 13 min").wait_for()
    second.page.get_by_role("slider", name="Minutes, spell 1").locator("[tabindex]").press("ArrowLeft")
    page.get_by_text("Minutes: 12 min").wait_for()
    screen.press("Tool on top or mirror on top?")
    both = page.locator("#both-ways")
    both.wait_for()
    page.wait_for_function("!document.querySelector('#both-ways .q-spinner')", timeout=LONG)
    picture = both.get_by_role("img", name=re.compile("with the tool and with the mirror on top"))
    assert picture.count() == 1, both.inner_text()


def test_a_session_is_recorded_once_by_two_browsers_one_of_which_leaves(
    served: Served, screens: Any, browser: Any
) -> None:
    at_the_barrel(served, "twice")
    place = served.folder / "twice"
    one, two = Screen(browser, served), screens(served)
    for screen in (one, two):
        screen.go("/mirror/twice/after")
    one.press("As planned")
    _read(one, AFTER)
    kept_draft(place, lambda kept: len(kept["after"]) > 1 and kept["after"][1]["cells"][4] == "2.09")
    two.page.get_by_role("button", name="Row 2").wait_for()
    press = "[...document.querySelectorAll('button')].find(b => b.innerText === 'Record this session')?.click()"
    one.page.evaluate(f"{press}; {press}")
    two.page.evaluate(press)
    kept_draft(place, lambda kept: kept["work"] is None or kept["work"]["number"])
    one.close()
    two.page.get_by_text("This session is recorded.").wait_for()
    kept_draft(place, lambda kept: kept["work"] is None)
    assert [folder.name for folder in sorted(place.glob("0*"))] == ["01"]
    assert "2.09" in (place / "01" / "readings.toml").read_text()


def test_a_programme_taken_elsewhere_is_shown_at_the_barrel(served: Served, screens: Any) -> None:
    place = read_mirror(served, "taken")
    tablet, laptop = screens(served, 1024, 768), screens(served)
    tablet.go("/mirror/taken/barrel").get_by_text("No programme has been taken to the barrel yet").wait_for()
    laptop.go("/mirror/taken/next")
    laptop.press("Add a spell")
    take = laptop.page.get_by_role("button", name="Take this to the barrel")
    take.wait_for(timeout=LONG)
    take.click()
    tablet.press("Pressed already: on to spell 1")
    tablet.page.get_by_text("5:00").wait_for()
    tablet.knuckle("Start")
    laptop.page.get_by_role("button", name="Pause").wait_for()
    assert (place / "proposal-for-01.toml").is_file()


def test_random_taps_break_nothing(served: Served, screens: Any) -> None:
    place = read_mirror(served, "tapped")
    kept = json.dumps({"rounds": [], "after": [], "work": None, "limits": FEW})
    (place / "page.json").write_text(kept, encoding="utf-8")
    chance, screen = random.Random(20261130), screens(served, 700, 900)
    page, steps = screen.page, ("readings", "next", "barrel", "after", "past", "print", "answers")
    failed = pytest.importorskip("playwright.sync_api").Error
    for tap in range(RANDOM_TAPS):
        if tap % 25 == 0:
            elsewhere = chance.choice(["/", "/new"])
            screen.go(f"/mirror/tapped/{chance.choice(steps)}" if chance.random() < 0.8 else elsewhere)
        if tap % 125 == 100:
            _other_windows(served, screen, f"masked {tap}", chance)
        with suppress(failed):  # a tap on a link: the view is gone before it is answered
            page.evaluate(TAP, chance.random())
        page.wait_for_timeout(chance.choice((0, 5, 20)))
    screen.go("/mirror/tapped/readings").locator(".window input").first.wait_for()


def _other_windows(served: Served, screen: Screen, name: str, chance: random.Random) -> None:
    """Another mask for a new mirror, and rows read through it at once, while the view of the old one may still be kept."""
    new_mirror(served.folder / name)
    page = screen.go(f"/mirror/{quote(name)}/readings")
    page.get_by_text("My mask has other windows").click()
    page.get_by_label("My mask's windows").fill(chance.choice(("10-40, 42-60, 62-80, 82-96", "10-50, 52-75, 77-96")))
    page.get_by_label("My mask's windows").press("Enter")
    page.wait_for_function("document.querySelectorAll('.window input').length < 5")
    screen.ready()
    page.locator(".window input").first.click()
    for number in OVERDONE * 2:
        page.keyboard.type(number)
        page.keyboard.press("Enter")
    page.get_by_role("img", name=SURFACE).wait_for()


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
