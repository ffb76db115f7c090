"""The views in a real browser, as far as no search is needed for them."""

from __future__ import annotations

import itertools
import re
from typing import Any

import pytest

from tests.page.conftest import READ, WAIT, Screen, Served, at_the_barrel, kept_draft, new_mirror, read_mirror
from wearsim.bench.whole_file import digest
from wearsim.page.parts import STEPS

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def served(serve: Any) -> Served:
    """One server for all of these."""
    return serve()


def _type_round(screen: Screen, numbers: tuple[str, ...] = READ) -> None:
    """As a person does: into the first window, Enter after each number."""
    fields = screen.page.locator(".window input")
    fields.first.click()
    for number in numbers:
        screen.page.keyboard.type(number)
        screen.page.keyboard.press("Enter")


def test_enter_goes_to_the_next_window_and_then_to_another_round(served: Served, screens: Any) -> None:
    place, screen = new_mirror(served.folder / "typed"), screens(served)
    page = screen.go("/mirror/typed/readings")
    _type_round(screen)
    page.get_by_role("button", name="Row 2").wait_for()
    page.wait_for_function("document.activeElement === document.querySelector('.window input')")
    assert page.locator(".window input").first.input_value() == ""
    page.get_by_role("img", name=re.compile("The surface with its band")).wait_for()
    sheet = (place / "readings.toml").read_text()
    assert "[0.0, 0.55, 1.05, 1.42, 1.78]" in sheet and "# Knife-edge readings" in sheet


def test_a_reload_keeps_a_round_that_is_not_whole(served: Served, screens: Any) -> None:
    place, screen = new_mirror(served.folder / "reloaded"), screens(served)
    page = screen.go("/mirror/reloaded/readings")
    page.locator(".window input").nth(2).fill("1.11")
    kept_draft(place, lambda kept: kept["rounds"][0]["cells"][2] == "1.11")
    screen.reload()
    page.wait_for_function("document.querySelectorAll('.window input')[2]?.value === '1.11'")


def test_a_slip_is_marked_at_once(served: Served, screens: Any) -> None:
    new_mirror(served.folder / "slip")
    screen = screens(served)
    page = screen.go("/mirror/slip/readings")
    _type_round(screen, ("0", "5.5", "105"))
    page.get_by_text(re.compile("Check: ")).first.wait_for()
    assert page.locator(".window.slip").count() >= 1
    page.locator(".window input").nth(1).fill("abc")
    page.get_by_text("Check: not a number").wait_for()


def test_a_round_is_struck_out_counted_again_and_deleted(served: Served, screens: Any) -> None:
    place, screen = new_mirror(served.folder / "struck"), screens(served)
    page = screen.go("/mirror/struck/readings")
    _type_round(screen)
    page.get_by_role("button", name="Row 2").wait_for()
    _type_round(screen, ("0", "9", "9", "9", "9"))
    page.get_by_role("button", name="Row 3").wait_for()
    page.get_by_role("button", name="Row 2").click()
    page.wait_for_function("document.querySelectorAll('.window input')[1]?.value === '9'")
    screen.press("Strike this row out")
    page.get_by_role("button", name="Row 2, struck out").wait_for()
    kept_draft(place, lambda kept: [one["struck"] for one in kept["rounds"]][:2] == [False, True])
    screen.press("Count this row again")
    page.get_by_role("button", name="Row 2", exact=True).wait_for()
    screen.press("Strike this row out")
    screen.press("Delete this row")
    page.get_by_role("button", name="Count this row again").wait_for(state="hidden")
    sheet = place / "readings.toml"
    kept_draft(place, lambda kept: ["0", *"9999"] not in [one["cells"] for one in kept["rounds"]])
    kept_draft(place, lambda kept: kept["made_from"] == digest(sheet.read_text()) and ", 9.0" not in sheet.read_text())


def test_what_the_tester_should_show_is_drawn(served: Served, screens: Any) -> None:
    new_mirror(served.folder / "shadows")
    screen = screens(served)
    page = screen.go("/mirror/shadows/readings")
    _type_round(screen)
    page.get_by_text("What the tester should show").click()
    page.get_by_role("img", name="The shadows of this surface, above those of a perfect one").wait_for()


def test_the_second_browser_sees_what_the_first_types(served: Served, screens: Any) -> None:
    new_mirror(served.folder / "two")
    one, two = (screens(served, width, 800).go("/mirror/two/readings") for width in (1280, 390))
    one.locator(".window input").nth(3).fill("1.43")
    two.wait_for_function("document.querySelectorAll('.window input')[3].value === '1.43'")
    two.locator(".window input").nth(3).fill("1.44")
    one.wait_for_function("document.querySelectorAll('.window input')[3].value === '1.44'")


def test_a_sheet_changed_outside_is_taken_over_and_said(served: Served, screens: Any) -> None:
    place, screen = new_mirror(served.folder / "changed"), screens(served)
    sheet, page = place / "readings.toml", screen.go("/mirror/changed/readings")
    _type_round(screen)
    page.get_by_role("img", name=re.compile("The surface with its band")).wait_for()
    kept_draft(place, lambda kept: kept["made_from"] == digest(sheet.read_text()))
    page.get_by_role("button", name="Row 1").click()
    page.wait_for_function("document.querySelectorAll('.window input')[4].value === '1.78'")
    sheet.write_text(sheet.read_text().replace("0.55", "0.57"), encoding="utf-8")
    page.locator(".window input").nth(4).fill("1.79")
    page.get_by_text("changed outside this page").wait_for()
    assert "0.57" in sheet.read_text()
    page.wait_for_function("document.querySelectorAll('.window input')[1].value.startsWith('0.57')")


def test_the_clock_at_the_barrel_goes_on_through_a_reload(served: Served, screens: Any) -> None:
    at_the_barrel(served, "worked")
    screen = screens(served, 1024, 768)
    page = screen.go("/mirror/worked/barrel")
    left = page.locator("#minutes-left")
    page.get_by_text("4:00").wait_for()
    page.get_by_text("Spell 1 of 2: 4 min, push ").wait_for()
    screen.press("Start")
    page.wait_for_function("/3:[0-5]/.test(document.querySelector('#minutes-left').textContent)")
    before = left.text_content()
    page.reload()
    page.wait_for_function(
        "before => /^3:/.test(document.querySelector('#minutes-left')?.textContent) &&"
        " document.querySelector('#minutes-left').textContent < before",
        arg=before,
    )
    screen.knuckle("Pause")
    page.get_by_role("button", name="Paused: continue").wait_for()
    page.wait_for_timeout(1200)  # on a busy machine a last second may still be on its way
    stood = left.text_content()
    page.wait_for_timeout(1200)
    assert left.text_content() == stood
    screen.knuckle("Stopped here")
    page.get_by_text("5:00").wait_for()
    screen.knuckle("Skip this spell")
    page.get_by_text(re.compile(r"[0-3](\\.[0-9]+)? of 4 min")).wait_for()
    kept = kept_draft(served.folder / "worked", lambda kept: kept["work"]["ended"])["work"]
    assert kept["since"] is None and 1.0 < kept["done"][0] < 240.0 and kept["done"][1] == 0.0


def test_the_cadence_is_heard_and_seen_and_can_be_turned_off(served: Served, screens: Any) -> None:
    at_the_barrel(served, "beating")
    screen = screens(served)
    screen.page.add_init_script(
        "window.tones = 0; const make = AudioContext.prototype.createOscillator;"
        "AudioContext.prototype.createOscillator = function () { window.tones += 1; return make.call(this); };"
    )
    page = screen.go("/mirror/beating/barrel")
    page.get_by_text("4:00").wait_for()
    screen.press("Start")
    page.get_by_text("Keep it wet.").wait_for()
    page.wait_for_function("window.tones > 3")
    for is_lit in (True, False, True):
        page.wait_for_function(
            f"document.querySelector('#beat-lamp').classList.contains('on') === {str(is_lit).lower()}"
        )
    moving = "document.querySelector('.barrel svg.stroke').animationsPaused() === {}"
    page.wait_for_function(moving.format("false"))
    screen.press("Turn sound off")
    page.get_by_role("button", name="Turn sound on").wait_for()
    screen.press("Turn flash off")
    page.get_by_role("button", name="Turn flash on").wait_for()
    page.wait_for_timeout(300)  # what the browser was told a moment before
    heard = page.evaluate("window.tones")
    page.wait_for_timeout(3000)  # four beats
    assert page.evaluate("window.tones") == heard
    assert not page.evaluate("document.querySelector('#beat-lamp').classList.contains('on')")
    screen.knuckle("Pause")
    page.wait_for_function(moving.format("true"))
    shown = "document.querySelector('.barrel svg.stroke').getCurrentTime()"
    page.wait_for_function(f"{shown} > 3")  # where it was, not at its beginning
    stands = page.evaluate(shown)
    screen.press("Turn sound on")
    page.get_by_role("button", name="Turn sound off").wait_for()
    page.wait_for_function(f"Math.abs({shown} - {stands}) < 0.2")


TURNED = """[[spell]]
stroke = "w"
length = 0.33
side_sweep = 0.12
side_overhang = 0.1
minutes = 4
on_top = "mirror"
turn = "90 deg"

[[spell]]
stroke = "press"
minutes = 5
"""
"""A first spell with much to say before it."""


@pytest.mark.parametrize(("width", "height"), [(800, 1100), (360, 740), (1024, 768), (1280, 800)])
def test_all_that_is_needed_at_the_barrel_is_on_one_screen(
    served: Served, screens: Any, width: int, height: int
) -> None:
    first = "Press the lap until it fits, tool on top."
    at_the_barrel(served, f"seen {width}", first=first, pressing=23.0, programme=TURNED)
    screen = screens(served, width, height)
    page = screen.go(f"/mirror/seen%20{width}/barrel")
    page.get_by_text("23:00").wait_for()
    _assert_in_sight(
        page, height, "#minutes-left", "button:has-text('Begin pressing')", "button:has-text('on to spell')"
    )
    screen.press("Begin pressing")
    page.wait_for_function("/^22:/.test(document.querySelector('#minutes-left').textContent)")
    screen.knuckle("It fits: on to spell 1")
    page.get_by_text("4:00").wait_for()
    seen = (
        "#minutes-left",
        "#before-spell",
        "figure svg",
        "figcaption",
        "text=strokes per minute",
        "button:has-text('Start')",
    )
    _assert_in_sight(page, height, *seen, "button:has-text('Skip this spell')")
    assert page.locator("figure svg").bounding_box()["height"] > 120
    page.get_by_text("First turn the mirror by 90").wait_for()
    _assert_apart(page, "button:has-text('Start')", "button:has-text('Skip this spell')")
    _assert_whole_menu(page, width)


def _assert_in_sight(page: Any, height: int, *places: str) -> None:
    """Whole, on the screen as it opens, and none of them over another."""
    boxes = [page.locator(place).first.bounding_box() for place in places]
    for place, box in zip(places, boxes, strict=True):
        assert box["y"] >= 0 and box["y"] + box["height"] <= height, (place, box)
    for one, other in itertools.combinations(boxes, 2):
        across = min(one["x"] + one["width"], other["x"] + other["width"]) - max(one["x"], other["x"])
        down = min(one["y"] + one["height"], other["y"] + other["height"]) - max(one["y"], other["y"])
        assert across < 1 or down < 1, (one, other)


def _assert_apart(page: Any, one: str, other: str) -> None:
    """Too far for a slip of a wet thumb."""
    first, second = (page.locator(place).first.bounding_box() for place in (one, other))
    across, down = (
        max(first[at], second[at]) - min(first[at] + first[size], second[at] + second[size])
        for at, size in (("x", "width"), ("y", "height"))
    )
    assert max(across, down) >= 24, (first, second)


def _assert_whole_menu(page: Any, width: int) -> None:
    for link in page.locator("nav.steps a").all():
        box = link.bounding_box()
        assert box["x"] >= 0 and box["x"] + box["width"] <= width, (link.inner_text(), box)


def test_a_mask_of_ones_own_is_taken_and_a_wrong_one_refused_at_its_field(served: Served, screens: Any) -> None:
    place, screen = new_mirror(served.folder / "masked"), screens(served)
    page = screen.go("/mirror/masked/readings")
    page.get_by_text("My mask has other windows").click()
    field = page.get_by_label("My mask's windows")
    field.fill("10-40, 42.5")
    screen.press("Use these windows")
    page.get_by_text("Not two edges for each window").wait_for()
    field.fill("10-40, 42-60, 62-80, 82-96")
    field.press("Enter")
    page.wait_for_function("document.querySelectorAll('.window input').length === 4")
    assert "[62.0, 80.0]" in (place / "readings.toml").read_text()


def test_tab_and_enter_strike_nothing_out(served: Served, screens: Any) -> None:
    place, screen = new_mirror(served.folder / "tabbed"), screens(served)
    page = screen.go("/mirror/tabbed/readings")
    page.locator(".window input").first.click()
    for number in READ:
        page.keyboard.type(number)
        page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.innerText") == "Another row"
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Row 2").wait_for()
    page.wait_for_function("document.activeElement === document.querySelector('.window input')")
    kept = kept_draft(place, lambda kept: len(kept["rounds"]) == 2)["rounds"]
    assert kept[0]["cells"] == list(READ) and not kept[0]["struck"]


@pytest.mark.parametrize("width", [1280, 360])
def test_a_list_opens_beneath_its_field_as_wide_as_that(served: Served, screens: Any, width: int) -> None:
    page = screens(served, width, 800).go("/mirror/first/next")
    for label in ("Which piece may be on top", "Strokes to consider"):
        field = page.locator(".q-field", has=page.get_by_label(label))
        field.click()
        page.wait_for_timeout(500)  # it unfolds
        box, menu = field.bounding_box(), page.locator(".q-menu").bounding_box()
        assert abs(menu["x"] - box["x"]) < 2 and abs(menu["width"] - box["width"]) < 2, (label, box, menu)
        page.keyboard.press("Escape")
        page.locator(".q-menu").wait_for(state="hidden")


def test_no_label_of_a_limit_is_cut_off(served: Served, screens: Any) -> None:
    page = screens(served).go("/mirror/first/next")
    cut = "all => all.filter(one => one.scrollWidth > one.clientWidth).map(one => one.innerText)"
    assert page.locator(".q-field__label").evaluate_all(cut) == []
    page.goto(served.address("/new"))
    page.get_by_text("more questions").click()
    page.get_by_label("Heights of the surface in").wait_for()
    assert page.locator(".q-field__label").evaluate_all(cut) == []


def test_work_that_is_not_recorded_is_named_where_more_is_asked_for(served: Served, screens: Any) -> None:
    at_the_barrel(served, "forgotten", done=[240.0, 60.0], ended=1.0)
    screen = screens(served)
    page = screen.go("/mirror/forgotten/next")
    page.get_by_text("You have work that is not recorded yet: 5 of 9 minutes.").wait_for()
    screen.press("Record it")
    page.wait_for_url("**/after")


def test_after_the_third_row_no_other_is_begun(served: Served, screens: Any) -> None:
    new_mirror(served.folder / "three")
    screen = screens(served)
    page = screen.go("/mirror/three/readings")
    for row in (2, 3):
        _type_round(screen)
        page.get_by_role("button", name=f"Row {row}").wait_for()
        page.wait_for_function("document.activeElement === document.querySelector('.window input')")
    _type_round(screen)
    page.get_by_role("img", name=re.compile("The surface with its band")).wait_for()
    assert page.get_by_role("button", name="Row 4").count() == 0


def test_a_condition_that_cannot_be_is_refused_at_its_field(served: Served, screens: Any) -> None:
    at_the_barrel(served, "refused")
    screen = screens(served)
    page = screen.go("/mirror/refused/after")
    screen.press("As planned")
    page.get_by_label("Pressed before spell 1").fill("long")
    kept_draft(served.folder / "refused", lambda kept: kept["conditions"].get("pressed") == "long")
    _type_round(screen)
    screen.press("Record this session")
    page.locator(".q-field--error").get_by_text(re.compile("expected a time")).wait_for()


WAKE = """window.wake = { asked: [], released: 0 };
Object.defineProperty(navigator, 'wakeLock', { value: { request: async kind => {
  const lock = { release: async () => { window.wake.released += 1; lock.onrelease(); } };
  window.wake.asked.push(kind);
  window.wake.drop = () => lock.onrelease();
  return lock;
} } });"""
"""A browser that notes what it is asked for; ``drop`` is what it does with a page that is hidden."""


def test_the_screen_stays_awake_while_the_clock_goes(served: Served, screens: Any) -> None:
    at_the_barrel(served, "awake")
    screen = screens(served, 1024, 768)
    screen.page.add_init_script(WAKE)
    page = screen.go("/mirror/awake/barrel")
    page.get_by_text("4:00").wait_for()
    assert page.evaluate("window.wake.asked") == []
    screen.press("Start")
    page.wait_for_function("window.wake.asked.join() === 'screen'")
    page.evaluate("window.wake.drop(); document.dispatchEvent(new Event('visibilitychange'))")
    page.wait_for_function("window.wake.asked.join() === 'screen,screen'")
    assert page.locator("#awake-note").is_hidden() and page.evaluate("window.wake.released") == 0
    screen.knuckle("Pause")
    page.wait_for_function("window.wake.released === 1")


def test_a_browser_that_lets_the_screen_sleep_says_so(served: Served, screens: Any) -> None:
    at_the_barrel(served, "asleep")
    screen = screens(served, 1024, 768)
    screen.page.add_init_script("delete Navigator.prototype.wakeLock")
    screen.go("/mirror/asleep/barrel").get_by_text("Set the tablet to stay on").wait_for()


def test_a_question_about_the_bench_is_answered_and_the_answer_stays(served: Served, screens: Any) -> None:
    read_mirror(served, "answered")
    screen = screens(served)
    page = screen.go("/mirror/answered/print")
    screen.press("How much does the pitch matter?")
    answer = page.get_by_role("img", name="The result as a plot")
    answer.wait_for(timeout=5 * WAIT)
    page.get_by_role("button", name="How far may I overhang?").wait_for()
    screen.reload()
    answer.wait_for()
    page.get_by_text("All numbers").click()
    page.get_by_text("With your pitch in your room").wait_for()


def test_a_question_about_the_bench_is_worked_and_stopped(served: Served, screens: Any) -> None:
    read_mirror(served, "asked")
    screen = screens(served)
    page = screen.go("/mirror/asked/print")
    screen.press("How far may I overhang?")
    page.get_by_text(re.compile(r"^\d+ of \d+ cases")).wait_for(timeout=5 * WAIT)  # kernels may be compiled before
    screen.press("Stop")
    page.get_by_text("Stopped.").wait_for()
    page.get_by_role("button", name="How much does the pitch matter?").wait_for()


def test_heavy_glass_is_cautioned_about(served: Served, screens: Any) -> None:
    page = screens(served).go("/new")
    for label, text in {"Diameter of the mirror": "20 in", "Focal ratio": "5"}.items():
        page.get_by_label(label).fill(text)
    page.get_by_role("note").filter(has_text="Lift it with a second person or a hoist").first.wait_for()
    page.get_by_label("Diameter of the mirror").fill("")
    page.get_by_label("Focal ratio").fill("")


def test_no_letter_at_the_barrel_is_small(served: Served, screens: Any) -> None:
    at_the_barrel(served, "large")
    page = screens(served, 360, 740).go("/mirror/large/barrel")
    page.get_by_text("4:00").wait_for()
    small = page.evaluate(
        """[...document.querySelectorAll('.barrel *')].filter(e => [...e.childNodes].some(n => n.nodeType === 3 &&
        n.textContent.trim())).filter(e => parseFloat(getComputedStyle(e).fontSize) < 16).map(e => e.outerHTML)"""
    )
    assert small == []


def test_every_step_is_within_reach_on_a_phone(served: Served, screens: Any) -> None:
    page = screens(served, 360, 740, has_touch=True, is_mobile=True).go("/mirror/first/readings")
    for name, words in STEPS.items():
        link = page.get_by_role("link", name=words, exact=True)
        box = link.bounding_box()
        assert box["x"] >= 0 and box["x"] + box["width"] <= 360 and 0 <= box["y"] <= 740 - box["height"], (name, box)
        assert box["height"] >= 36, box
        link.tap()
        page.wait_for_url(f"**/{name}")
        page.wait_for_function("window.did_handshake === true")
        assert page.locator("nav [aria-current=page]").inner_text() == words


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (1024, 768), (360, 740)])
def test_the_minutes_left_fit_on_their_sheet(served: Served, screens: Any, width: int, height: int) -> None:
    at_the_barrel(served, f"fits {width}")
    page = screens(served, width, height).go(f"/mirror/fits%20{width}/barrel")
    page.get_by_text("4:00").wait_for()
    fits = "one => { one.textContent = '88:88'; return one.scrollWidth <= one.clientWidth; }"
    assert page.locator("#minutes-left").evaluate(fits)


UNSPEAKABLE = """[...document.querySelectorAll('button[aria-label]')].map(one =>
  [one.getAttribute('aria-label'), one.innerText.trim()]).filter(([name, text]) => !name.includes(text))"""
"""Buttons that whoever says what is written on them cannot press."""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_stands_in_the_way_of_a_screen_reader(served: Served, screens: Any, scheme: str) -> None:
    screen, found = screens(served, 360, 740, color_scheme=scheme), []
    for path in ("/", "/new", *(f"/mirror/first/{step}" for step in (*STEPS, "answers"))):
        page = screen.go(path)
        found += [(path, *one) for one in screen.obstacles()]
        found += [(path, *one) for one in page.evaluate(UNSPEAKABLE)]
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= 360, (path, wide)
    assert found == []


@pytest.mark.parametrize("width", [1280, 360])
def test_a_mirrors_answers_are_changed_where_they_were_given(served: Served, screens: Any, width: int) -> None:
    place, screen = new_mirror(served.folder / f"changed {width}"), screens(served, width, 740)
    page = screen.go("/")
    screen.press(f"Change the mirror's answers: changed {width}")
    thickness = page.get_by_label("Thickness at the edge")
    thickness.wait_for()
    screen.ready()
    assert page.get_by_label("Diameter of the mirror").input_value() == "200 mm"
    assert page.get_by_label("Name of the folder").count() == 0
    thickness.fill("31")
    page.get_by_text("Everything else about the mirror stays as it is.").wait_for()
    page.get_by_text("more questions, if you like").click()
    page.get_by_label("Temperature of the room").fill("18")
    screen.press("Save these answers")
    page.get_by_text("The mirror's answers are saved.").wait_for()
    page.locator(".window input").first.wait_for()
    bench = (place / "bench.toml").read_text()
    assert 'thickness = "31 mm"' in bench and 'temperature = "18 degC"' in bench
    page.get_by_role("link", name=f"changed {width}").click()
    page.wait_for_function("document.querySelector('[aria-label=\"Thickness at the edge\"]')?.value === '31 mm'")
    (place / "bench.toml").write_text(bench + "\n# mine\n", encoding="utf-8")
    screen.press("Save these answers")
    page.get_by_text(re.compile("hanged by another program")).first.wait_for()
    assert (place / "bench.toml").read_text().endswith("# mine\n")


def test_a_bench_of_several_laps_is_changed_in_its_file(served: Served, screens: Any) -> None:
    place = new_mirror(served.folder / "laps")
    bench = (place / "bench.toml").read_text()
    (place / "bench.toml").write_text(bench.replace("[lap]", "[[lap]]"), encoding="utf-8")
    screens(served).go("/mirror/laps/answers").get_by_text("there are several laps").wait_for()


@pytest.mark.parametrize(("width", "height"), [(1024, 768), (360, 740)])
def test_the_clock_stands_where_a_test_comes_first(served: Served, screens: Any, width: int, height: int) -> None:
    at_the_barrel(served, f"tested {width}", stop=3.0, done=[177.0, 0.0])
    screen = screens(served, width, height)
    page = screen.go(f"/mirror/tested {width}/barrel")
    page.get_by_text("stop and test after 3 min of work").wait_for()
    screen.knuckle("Paused: continue")
    page.get_by_text("Stop here: test and record; 3 of 9 minutes worked.").wait_for()
    assert page.evaluate("document.documentElement.scrollHeight - innerHeight") <= 0
    screen.knuckle("Go on without a test")
    page.get_by_text("Spell 1 of 2: 4 min").wait_for()
    assert page.get_by_text("stop and test").count() == 0
    screen.knuckle("Pause")
    screen.knuckle("End of the session")
    page.get_by_role("heading", name="Stopped").wait_for()
    page.get_by_text("3 of 4 min").wait_for()


def test_a_name_is_shown_and_never_obeyed(served: Served, screens: Any) -> None:
    name = "<img src=x onerror=alert(1)>"
    new_mirror(served.folder / name)
    page = screens(served).go("/")
    page.get_by_role("heading", name=name).wait_for()
    page.get_by_role("button", name=f"Continue with {name}", exact=True).wait_for()
    assert page.locator("img[src=x]").count() == 0
    page.goto(served.address("/new"))
    page.get_by_text('8 in, 8".').wait_for()


def test_a_view_is_asked_for_again_where_a_touch_before_leads_elsewhere(served: Served, screens: Any) -> None:
    screen = screens(served)
    page, asked = screen.go("/"), []

    def first_unanswered(route: Any) -> None:
        asked.append(route.request.url)
        if len(asked) > 1:
            route.continue_()

    page.route("**/mirror/first/print", first_unanswered)
    page.evaluate("setTimeout(() => location.assign('/new'), 300)")
    screen.go("/mirror/first/print").get_by_role("heading", name="The mask").wait_for()
    assert len(asked) > 1


def test_a_server_that_does_not_answer_says_first_where_its_loop_is(serve: Any) -> None:
    said = serve().what_it_does()
    assert said.startswith("Current thread") and "uvicorn" in said.partition("\n\n")[0]
    assert "Fatal Python error" in said and "http://" in said
