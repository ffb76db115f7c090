"""What several browsers do to one mirror at the same time: nothing is done twice, and nothing to something else."""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import Awaitable, Callable
from html import escape
from pathlib import Path
from typing import Any

import nicegui
import pytest
from nicegui import Client, ui

from tests.page.conftest import READ, TAKEN, new_mirror
from tests.test_worker import sleep_long
from wearsim.errors import InputError
from wearsim.learn import typed_records
from wearsim.learn.bench_answers import given_in
from wearsim.learn.draft import FILE, Round
from wearsim.learn.mirror_folder import open_folder
from wearsim.page import calls, live_mirror, parts
from wearsim.page.afterwards import AfterwardsView
from wearsim.page.barrel import BarrelView
from wearsim.page.choices import ChoicesView, take_to_barrel
from wearsim.page.live_mirror import BOUNCE, SETTLED, LiveMirror
from wearsim.page.mirrors import MirrorAnswers
from wearsim.page.own_programme import FIRST, OwnProgramme
from wearsim.page.parts import part
from wearsim.page.past import PastView
from wearsim.page.prints import PrintView
from wearsim.page.readings import ReadingsView
from wearsim.page.server import Room
from wearsim.show.numbers import CONIC_WORDS, OVERHANG_WORDS, STREHL_WORDS
from wearsim.worker import Desk

TAKEN_CHOICE = {
    "programme": TAKEN, "spells": [{"minutes": 4.0}, {"minutes": 5.0}], "first": "", "pressing": 0.0, "stop": 0.0
}  # fmt: skip
"""As a view hands it on to the barrel."""


@pytest.fixture
def with_mirror(tmp_path: Path) -> Callable[[Callable[[LiveMirror], Awaitable[None]]], None]:
    """What runs a coroutine on a new mirror, in a loop such as the page's."""

    async def run(work: Callable[[LiveMirror], Awaitable[None]]) -> None:
        nicegui.core.loop = asyncio.get_running_loop()
        desk = Desk()
        try:
            await work(LiveMirror(new_mirror(tmp_path / "mirror"), desk))
            await asyncio.sleep(2.0 * SETTLED)  # what was typed is kept
        finally:
            desk.close()

    return lambda work: asyncio.run(run(work))


def _worked(mirror: LiveMirror) -> None:
    """A programme that was worked, and read afterwards."""
    mirror.begin_work(TAKEN_CHOICE)
    assert mirror.draft.work is not None
    mirror.draft.work.corrected = [4.0, 5.0]
    mirror.draft.after = [Round(list(READ))]
    mirror.draft.work.end()


def _recorded(mirror: LiveMirror) -> list[str]:
    return [place.name for place in sorted(mirror.path.glob("0*"))]


def test_two_who_record_at_once_record_one_session(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        _worked(mirror)
        both = await asyncio.gather(mirror.keep_session(), mirror.keep_session(), return_exceptions=True)
        assert [isinstance(one, InputError) for one in both] == [False, True], both
        assert _recorded(mirror) == ["01"] and mirror.draft.work is None

    with_mirror(work)


def test_a_record_is_brought_to_its_end_though_who_pressed_has_left(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        _worked(mirror)
        pressed = asyncio.create_task(mirror.keep_session())
        await asyncio.sleep(0)
        pressed.cancel()
        with pytest.raises(asyncio.CancelledError):
            await pressed
        for _ in range(300):
            if mirror.draft.work is None:
                break
            await asyncio.sleep(0.1)
        assert _recorded(mirror) == ["01"] and len(open_folder(mirror.path).sessions) == 1

    with_mirror(work)


def test_a_server_that_was_killed_while_it_recorded_does_not_record_again(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        _worked(mirror)
        assert mirror.draft.work is not None
        mirror.draft.work.number = 1
        begun = mirror.draft.text
        (mirror.path / FILE).write_text(begun, encoding="utf-8")
        left = LiveMirror(mirror.path, mirror.desk).draft  # killed before the session was there
        assert left.work is not None and left.work.number == 0 and left.after[0].cells == list(READ)
        await mirror.keep_session()
        (mirror.path / FILE).write_text(begun, encoding="utf-8")
        left = LiveMirror(mirror.path, mirror.desk).draft  # killed when it was
        assert left.work is None and not left.after

    with_mirror(work)


def test_a_record_that_fails_loses_nothing(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        _worked(mirror)
        mirror.draft.after[0].cells[1] = "abc"
        with pytest.raises(InputError):
            await mirror.keep_session()
        assert mirror.draft.work is not None and mirror.draft.work.number == 0 and _recorded(mirror) == []
        assert mirror.draft.after[0].cells[1] == "abc"

    with_mirror(work)


def test_the_last_number_typed_is_part_of_what_is_looked_for(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        in_the_file: list[str] = []

        async def run(*_: Any) -> None:
            in_the_file.append((mirror.path / "readings.toml").read_text(encoding="utf-8"))

        mirror.run = run  # type: ignore[method-assign]
        for zone, text in enumerate(READ):
            mirror.write_cell("rounds", mirror.rounds("rounds")[0], zone, text)
        await mirror.look_for_choices()
        assert "[0.0, 0.55, 1.05, 1.42, 1.78]" in in_the_file[0]

    with_mirror(work)


def test_a_touch_at_the_barrel_is_for_what_stood_there(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        mirror.begin_work(TAKEN_CHOICE)
        work = mirror.draft.work
        assert work is not None
        shown = work.standing
        mirror.act("next_spell", work, shown)
        mirror.act("next_spell", work, work.standing)  # the knuckle bounces
        assert work.spell == 1
        await asyncio.sleep(1.2 * BOUNCE)
        mirror.act("next_spell", work, shown)  # from a screen that had the first spell
        assert work.spell == 1 and work.ended is None
        mirror.act("back", work, work.standing)
        assert work.spell == 0 and work.left == 240.0
        work.done[0] = 90.0  # stopped by a slip
        await asyncio.sleep(1.2 * BOUNCE)
        mirror.act("end", work, work.standing)
        await asyncio.sleep(1.2 * BOUNCE)
        mirror.act("back", work, work.standing)
        assert work.ended is None and work.left == 150.0
        mirror.begin_work(TAKEN_CHOICE)
        await asyncio.sleep(1.2 * BOUNCE)
        mirror.act("go", work, work.standing)
        assert mirror.draft.work is not work and work.since is None

    with_mirror(work)


def test_a_session_is_set_aside_once_by_two(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        for _ in range(2):
            _worked(mirror)
            await mirror.keep_session()
        await asyncio.gather(*(mirror.correct(typed_records.set_aside, 2) for _ in range(2)))
        assert _recorded(mirror) == ["01", "02-set-aside-1"] and "not the last session" in mirror.file_note

    with_mirror(work)


def test_a_round_that_is_gone_takes_no_reading_and_another_does_not_either(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        first, second = mirror.rounds("rounds")[0], mirror.blank_round()
        mirror.draft.rounds.append(second)
        mirror.draft.rounds.remove(first)
        mirror.write_cell("rounds", first, 0, "1.2")
        assert [one.cells[0] for one in mirror.rounds("rounds")] == [""]

    with_mirror(work)


FOUR = "10-40, 42-60, 62-80, 82-96"
"""Windows of another mask [mm]."""


def test_a_view_of_another_mask_hears_of_no_readings(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        client = Client(ui.page("/nowhere"))
        with client:
            left = ReadingsView(mirror)
            left.show()
        await mirror.take_windows(FOUR)
        mirror.draft.rounds = [Round(list(READ[:4])), Round(list(READ[:4]))]
        with client:
            left._new_surface()  # it is kept for some seconds after its browser has left
            left._new_rounds()
            present = ReadingsView(mirror)
            present.show()
        present._new_surface()
        assert [len(left.names), len(present.names)] == [5, 4]
        assert present.beneath[3].content == f"other rows: {READ[3]}"

    with_mirror(work)


def test_a_row_after_the_work_has_the_windows_of_the_mask(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        _worked(mirror)
        with pytest.raises(InputError, match="readings taken with other windows"):
            await mirror.take_windows(FOUR)
        mirror.draft.after = []
        assert len(mirror.rounds("after")[0].cells) == 5
        await mirror.take_windows(FOUR)
        assert [len(mirror.rounds(which)[0].cells) for which in ("rounds", "after")] == [4, 4]

    with_mirror(work)


def test_half_a_number_is_not_worked(with_mirror: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    async def work(mirror: LiveMirror) -> None:
        sheet = mirror.path / "readings.toml"
        blank = sheet.read_text(encoding="utf-8")
        monkeypatch.setattr(live_mirror, "THINKING", 3600.0)
        for zone, text in enumerate((*READ[:4], "1.7")):
            mirror.write_cell("rounds", mirror.rounds("rounds")[0], zone, text)
        await asyncio.sleep(5.0 * SETTLED)
        assert not mirror.surfaces and sheet.read_text(encoding="utf-8") == blank
        mirror.write_cell("rounds", mirror.rounds("rounds")[0], 4, READ[4])
        mirror.typing_ended()
        for _ in range(300):
            if mirror.surfaces:
                break
            await asyncio.sleep(0.1)
        assert f"{READ[3]}, {READ[4]}]" in sheet.read_text(encoding="utf-8")
        monkeypatch.setattr(live_mirror, "THINKING", SETTLED)
        mirror.write_cell("rounds", mirror.rounds("rounds")[0], 4, "1.79")  # the field is not left
        for _ in range(300):
            if f"{READ[3]}, 1.79]" in sheet.read_text(encoding="utf-8"):
                return
            await asyncio.sleep(0.1)
        raise AssertionError("what was typed was never worked")

    with_mirror(work)


def test_readings_before_and_after_are_both_worked(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        _worked(mirror)
        for zone, text in enumerate(READ):
            mirror.write_cell("rounds", mirror.rounds("rounds")[0], zone, text)
        mirror.readings_changed("after")
        for _ in range(600):
            if len(mirror.surfaces) == 2:
                break
            await asyncio.sleep(0.1)
        assert set(mirror.surfaces) == {"rounds", "after"}
        kept = json.loads((mirror.path / FILE).read_text(encoding="utf-8"))
        assert kept["rounds"][0]["cells"] == list(READ)

    with_mirror(work)


def test_heights_are_in_the_unit_that_the_bench_remembers(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        assert mirror.sheet is not None
        bench = (mirror.path / "bench.toml").read_text(encoding="utf-8")
        for unit in ("waves", "millionths", "nm", ""):
            said = f'\n[light]\nsurface_unit = "{unit}"\n' if unit else ""
            (mirror.path / "bench.toml").write_text(bench + said, encoding="utf-8")
            found = await mirror.ask(calls.surface, mirror.sheet.file, [list(READ)], "moving", False)
            assert found["rms"].endswith(f" {unit or 'nm'}") and f"RMS, surface, {unit or 'nm'}" in found["text"]

    with_mirror(work)


def test_the_lap_is_pressed_by_the_clock_and_that_is_written_down(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        mirror.begin_work({**TAKEN_CHOICE, "first": "Press the lap.", "pressing": 6.0})
        work = mirror.draft.work
        assert work is not None and work.left == 360.0 and not work.is_begun
        mirror.act("press", work, work.standing)
        assert work.is_begun and work.pressed_since is not None
        work.pressed_since -= 300.0
        assert work.left == pytest.approx(60.0, abs=5.0)
        await asyncio.sleep(1.2 * BOUNCE)
        mirror.act("fits", work, work.standing)
        assert (work.pressing, work.first, work.spell, work.left) == (0.0, "", 0, 240.0)
        assert mirror.draft.conditions["pressed"] == "5 min"
        mirror.draft.conditions["temperature"] = "18"  # a plain number, in the bench's degrees
        mirror.draft.conditions["pressed"] = "7"
        work.corrected, mirror.draft.after = [4.0, 5.0], [Round(list(READ))]
        work.end()
        await mirror.keep_session()
        note = (mirror.path / "01" / "session.toml").read_text()
        assert "pressed = " in note and "7" in note and "18" in note

    with_mirror(work)


def test_the_clock_stands_where_a_test_comes_first(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        mirror.begin_work({**TAKEN_CHOICE, "stop": 6.0})
        work = mirror.draft.work
        assert work is not None
        for spell, left in ((0, 240.0), (1, 120.0)):
            assert (work.spell, work.left, work.is_at_stop) == (spell, left, False)
            mirror._act(work.go)
            assert work.since is not None
            work.since -= 300.0
            mirror.beat()
        assert (work.spell, work.minutes(), work.is_going, work.is_at_stop) == (1, [4.0, 2.0], False, True)
        mirror.beat()
        assert work.ended is None and work.minutes() == [4.0, 2.0]

    with_mirror(work)


def test_the_best_so_far_never_grows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = new_mirror(tmp_path / "mirror")
    (place / "bench.toml").write_text(
        (place / "bench.toml").read_text().replace('readings = "readings.toml"', "conic = -0.9")
    )
    said: list[str] = []

    def searched(bench: Any, asked: Any, told: Any, **known: Any) -> list[Any]:
        for name, best in (
            ("Best", 24e-9),
            ("Best", 22e-9),
            ("Best", 18e-9),
            ("Tool on top only", 18e-9),
            ("Tool on top only", 22e-9),
        ):
            told(name, "stage", best)
        return []

    monkeypatch.setattr(calls, "alternatives", searched)
    limits = {"minutes": 5.0, "spells": 1, "top": "either"}
    calls.choices(place, limits, progress=lambda kind, stage, best: said.append(best))
    assert said == ["", "22 nm", "18 nm", "18 nm", "18 nm"]  # the first is where one stands


def test_other_answers_are_kept_and_what_was_found_with_the_ones_before_is_not(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        mirror.rounds("rounds")[0].cells = [READ[0], *[""] * 4]
        mirror.surfaces, mirror.search.found = {"rounds": {"rms": "1 nm"}}, [NOTHING]
        given, made_from = given_in(open_folder(mirror.path))
        told: list[str] = []
        mirror.changed.subscribe(lambda topic, by: told.append(topic))
        await mirror.change_answers({**given, "thickness": "31 mm"}, made_from)
        assert mirror.bench is not None and mirror.bench.mirror.thickness == 0.031
        assert not mirror.surfaces and not mirror.search.found and told[-1] == "answers"
        assert mirror.rounds("rounds")[0].cells[0] == READ[0]
        with pytest.raises(InputError, match="changed by another program"):
            await mirror.change_answers({**given, "thickness": "32 mm"}, made_from)

    with_mirror(work)


def test_a_second_mirror_has_a_name_and_none_is_missed(with_mirror: Any, tmp_path: Path) -> None:
    async def work(mirror: LiveMirror) -> None:
        for name in ("my-mirror", "my-mirror-2"):
            (tmp_path / name).mkdir()
        room = Room(tmp_path, mirror.desk)
        with Client(ui.page("/nowhere")) as client:
            form = MirrorAnswers(room)
            form.show()
        assert form.answers["name"] == "my-mirror-3"
        form.answers |= {"diameter": "8", "focal_ratio": "6", "name": " "}
        form.result.refresh()
        await asyncio.sleep(0.01)
        words = [one.content for one in client.elements.values() if isinstance(one, ui.html)]
        assert "Still to be answered: name of the folder." in words

    with_mirror(work)


def test_afterwards_names_the_benchs_temperature_and_when_the_glass_is_cool(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        bench = (mirror.path / "bench.toml").read_text(encoding="utf-8")
        (mirror.path / "bench.toml").write_text(f"{bench}\n".replace("[wear]", '[wear]\ntemperature = "63 degF"'))
        _worked(mirror)
        mirror.read_folder()
        client = Client(ui.page("/nowhere"))
        with client:
            view = AfterwardsView(mirror)
            view.show()
        assert view.fields["temperature"].props["hint"] == "Only if it was not 63 F, as the bench says."
        assert re.fullmatch(r"Test in about \d(\.5)? h, at \d\d:\d\d", view.left.content)
        words = [one.content for one in client.elements.values() if isinstance(one, ui.html)]
        assert "Tool on top, cold pressing; 5 min planned" in words

    with_mirror(work)


NOTHING: dict[str, Any] = {
    "name": "Proposed", "title": "Nothing proposed", "is_next": False, "spells": [], "reason": "No stroke helps.",
    "why_not": "", "edge_now": "", "warnings": [], "text": "", "plot": "", "before": "80 nm", "stopped": "80 nm",
    "before_all": "", "alike": "", "waits": False,
}  # fmt: skip
"""What is found where nothing is proposed, and then the short trial and another choice."""
SPELL = {"minutes": 2.0, "title": "tool on top, one-third", "sizes": "3.33 in long", "moving": ""}
OTHER = {
    **NOTHING, "name": "Uncommon strokes", "title": "Uncommon strokes", "spells": [SPELL], "reason": "",
    "why_not": "Not proposed: hard to keep up by hand.", "edge_now": "The edge may already be turned up.", "work": "",
    "after": "", "expected": "", "edge": "", "strehl": "", "minutes": 2.0, "picture": "", "programme": TAKEN,
}  # fmt: skip
TRIAL = {**OTHER, "name": "Short trial", "title": "Next: a short trial of 2 minutes", "is_next": True, "why_not": ""}


def test_what_is_next_comes_first_and_alone_has_the_strong_button(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        for found, titles, said in (
            ([NOTHING], ["Nothing proposed"], 0),
            ([{**NOTHING, "waits": True}], [], 0),  # the trial follows at once
            ([NOTHING, TRIAL, OTHER], ["Next: a short trial of 2 minutes", "The choices", "Uncommon strokes"], 1),
        ):
            mirror.search.found = found
            client = Client(ui.page("/nowhere"))
            with client:
                ChoicesView(mirror).choices()
            shown = list(client.elements.values())
            words = [one.content for one in shown if isinstance(one, ui.html)]
            assert [one for one in words if one in titles] == titles
            assert words.count("No stroke helps.") == bool(titles) and words.count(OTHER["why_not"]) == said
            assert sum(one.startswith("The edge may already be turned up.") for one in words) == said
            takes = [one for one in shown if isinstance(one, ui.button) and one.text.startswith("Take this")]
            assert ["main" in one.classes for one in takes] == [True, False][: 2 * said]

    with_mirror(work)


def test_where_better_readings_come_first_that_is_said_first_and_no_button_is_strong(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        mirror.search.found = [NOTHING, {**TRIAL, "before_all": "Take better readings first."}]
        client = Client(ui.page("/nowhere"))
        with client:
            ChoicesView(mirror).choices()
        shown = list(client.elements.values())
        words = [one.content for one in shown if isinstance(one, ui.html)]
        assert words.index("Take better readings first.") < words.index(
            next(one for one in words if "one-third" in one)
        )
        assert not any("main" in one.classes for one in shown if isinstance(one, ui.button))

    with_mirror(work)


class Shown:
    """Counts how often it is shown."""

    times = 0

    @part
    def figure(self) -> None:
        self.times += 1


def test_what_was_pressed_by_who_has_left_is_done_and_shown_to_nobody(with_mirror: Any, caplog: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        client = Client(ui.page("/nowhere"))
        with client:
            field = parts.field("A field", parts.Entry("", lambda _: None))
            client.delete()
            await take_to_barrel(mirror, TAKEN_CHOICE)
            parts.tell("Done.", client)
            parts.refuse(InputError("not so", expected="otherwise"), field)
        assert mirror.draft.work is not None
        assert "has been deleted" not in caplog.text

    with_mirror(work)


def test_what_a_browser_has_left_is_not_shown_again(with_mirror: Any) -> None:
    async def work(_: LiveMirror) -> None:
        client, shown = Client(ui.page("/nowhere")), Shown()
        with client:
            shown.figure()
        shown.figure.refresh()
        await asyncio.sleep(0.01)
        assert shown.times == 2
        shown.figure.refresh()
        client.delete()
        await asyncio.sleep(0.01)
        assert shown.times == 2

    with_mirror(work)


def test_kernels_are_compiled_once_and_no_reading_waits_for_that(with_mirror: Any, monkeypatch: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        asked: list[tuple[str, Any]] = []
        compiled = asyncio.Event()

        def stand_in(name: str) -> Any:
            async def ask(function: Any, *arguments: Any, **_: Any) -> dict[str, str]:
                asked.append((name, arguments[1] if arguments else function))
                if name == "long" and function is calls.warm_up_strokes:
                    await compiled.wait()
                return {"after": "", "edge_now": ""}

            return ask

        for name in ("quick", "long"):
            monkeypatch.setattr(getattr(mirror.desk, name), "ask", stand_in(name))
        mirror.draft.own = [dict(FIRST)]
        two = [asyncio.create_task(OwnProgramme(mirror).predict.ask()) for _ in range(2)]
        await asyncio.sleep(0.05)
        assert asked == [("long", calls.warm_up_strokes)]
        compiled.set()
        await asyncio.gather(*two)
        assert asked[1] == ("quick", calls.warm_up_strokes)
        assert asked.count(("quick", calls.headline)) == 2
        assert sum(one[1] is calls.warm_up_strokes for one in asked) == 2

    with_mirror(work)


@pytest.mark.parametrize("view", [PastView, OwnProgramme])
def test_what_was_asked_for_in_a_view_ends_when_that_is_left(with_mirror: Any, view: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        client, shown = Client(ui.page("/nowhere")), view(mirror)
        with client:
            shown.show()
        job = getattr(shown, "job" if view is PastView else "compare")
        going = asyncio.create_task(job.run(mirror.desk.long, "", lambda _: None, sleep_long))
        await asyncio.sleep(0.1)
        assert job.is_running
        client.delete()
        await asyncio.wait_for(going, 60)
        assert job.fault == "Stopped." and not job.is_running

    with_mirror(work)


@pytest.mark.parametrize(("verdict", "strong"), [("no", ["What next?"]), ("open", ["Read once more"]), ("yes", [])])
def test_what_the_verdict_says_is_the_strong_button(with_mirror: Any, verdict: str, strong: list[str]) -> None:
    async def work(mirror: LiveMirror) -> None:
        found = {"picture": "", "rms": "", "advice": "", "notes": [], "known": "", "text": "", "verdict": verdict}
        client, view = Client(ui.page("/nowhere")), ReadingsView(mirror)
        mirror.draft.rounds[:] = [Round(list(READ))]
        view.round = mirror.draft.rounds[0]
        mirror.surfaces["rounds"] = found
        with client:
            view.surface()
        buttons = [one for one in client.elements.values() if isinstance(one, ui.button)]
        assert [one.text for one in buttons if "main" in one.classes] == strong
        assert "What next?" in [one.text for one in buttons]
        if verdict == "open":
            view._another()
            assert len(mirror.rounds("rounds")) == 2 and view.round is mirror.rounds("rounds")[1]

    with_mirror(work)


def test_the_verdict_on_a_surface_comes_with_what_its_words_mean(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        assert mirror.sheet is not None
        found = calls.surface(mirror.path, mirror.sheet.file, [list(READ)], "moving", False)
        assert found["verdict"] in ("yes", "no", "open")
        assert found["notes"][-1] == f"{STREHL_WORDS} {CONIC_WORDS}"

    with_mirror(work)


def test_an_overhang_is_explained_where_it_is_chosen_and_asked_about(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        client = Client(ui.page("/nowhere"))
        mirror.draft.own = [{**FIRST, "stroke": "overhang"}, dict(FIRST)]
        with client:
            OwnProgramme(mirror).spells()
            PrintView(mirror).questions()
        shown = list(client.elements.values())
        hints = [one.props.get("hint", "") for one in shown if isinstance(one, ui.select)]
        assert [bool(one) for one in hints] == [True, False, False, False] and "hangs over the edge" in hints[0]
        assert any(escape(OVERHANG_WORDS) in one.content for one in shown if isinstance(one, ui.html))

    with_mirror(work)


def test_a_long_warning_is_one_sentence_and_a_fold(with_mirror: Any) -> None:
    async def work(_: LiveMirror) -> None:
        client = Client(ui.page("/nowhere"))
        with client:
            parts.warn(["the mirror sags; support it on six pads; or turn it. " + 200 * "x", "short"])
        shown = list(client.elements.values())
        marked = [one.content for one in shown if isinstance(one, ui.html) and "mark" in one.classes]
        assert marked == ["Warning: The mirror sags; support it on six pads.", "Warning: Short."]
        assert len([one for one in shown if isinstance(one, ui.expansion)]) == 1

    with_mirror(work)


def test_the_mirrors_answers_can_be_reached_at_the_barrel(with_mirror: Any) -> None:
    async def work(mirror: LiveMirror) -> None:
        _worked(mirror)
        client = Client(ui.page("/nowhere"))
        with client:
            BarrelView(mirror).show()
        links = [one for one in client.elements.values() if isinstance(one, ui.link)]
        assert [(one.text, one.props["href"]) for one in links] == [(parts.CHANGE, "/mirror/mirror/answers")]

    with_mirror(work)
