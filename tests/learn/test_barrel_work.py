"""The clock at the barrel."""

from __future__ import annotations

import pytest

from wearsim.learn.barrel_work import Work


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """A clock that goes when it is told to."""
    now = [1_000_000.0]
    monkeypatch.setattr("wearsim.learn.barrel_work.time.time", lambda: now[0])
    return now


def test_minutes_add_up_over_pauses(clock: list[float]) -> None:
    work = Work("", [10.0, 5.0])
    for seconds in (90.0, 30.0):
        work.go()
        clock[0] += seconds
        work.halt()
        clock[0] += 1000.0
    assert work.seconds() == 120.0 and work.left == 480.0
    assert work.minutes() == [2.0, 0.0]


def test_a_spell_is_never_longer_than_it_went(clock: list[float]) -> None:
    work = Work("", [1.0])
    work.go()
    clock[0] += 500.0
    work.next_spell()
    assert work.seconds() == 60.0 and work.ended == clock[0]
    work.go()
    assert work.since is None


def test_stopped_early_goes_on_with_the_next_spell(clock: list[float]) -> None:
    work = Work("", [4.0, 6.0])
    work.go()
    clock[0] += 120.0
    work.next_spell()
    assert (work.spell, work.since, work.ended) == (1, None, None)
    work.end()
    assert work.minutes() == [2.0, 0.0] and work.ended == clock[0]


def test_corrected_minutes_are_what_is_recorded(clock: list[float]) -> None:
    assert Work("", [4.0, 6.0], done=[60.0, 0.0], corrected=[4.0, 5.5]).minutes() == [4.0, 5.5]


def test_a_lap_that_was_pressed_before_is_not_pressed_by_the_clock(clock: list[float]) -> None:
    work = Work("", [4.0], "Press the lap.", pressing=10.0)
    assert work.left == 600.0
    work.fits()
    assert (work.pressed, work.left, work.is_begun) == (0.0, 240.0, False)


def test_the_clock_of_a_pressing_ends_at_nothing_and_counts_all_of_it(clock: list[float]) -> None:
    work = Work("", [4.0], pressing=10.0)
    work.press()
    work.unpress()  # touched by mistake
    assert work.left == 600.0 and not work.is_begun
    work.press()
    clock[0] += 700.0
    work.press()  # a second touch begins nothing new
    assert work.left == 0.0 and work.is_going
    work.fits()
    assert work.pressed == 700.0 and not work.is_going and work.is_begun


def test_the_clock_goes_to_the_stop_and_on_from_it_where_one_goes_on(clock: list[float]) -> None:
    work = Work("", [10.0], stop=4.0)
    assert (work.left, work.is_at_stop) == (240.0, False)
    work.go()
    clock[0] += 500.0
    assert work.left == 0.0
    work.run_out()
    assert (work.minutes(), work.is_at_stop, work.ended, work.is_going) == ([4.0], True, None, False)
    work.go_on()
    assert (work.is_at_stop, work.is_going, work.left) == (False, True, 360.0)
    clock[0] += 400.0
    work.run_out()
    assert work.minutes() == [10.0] and work.ended == clock[0]


def test_a_stop_at_the_end_of_a_spell_leads_to_the_next_where_one_goes_on(clock: list[float]) -> None:
    work = Work("", [4.0, 6.0], stop=4.0)
    work.go()
    clock[0] += 240.0
    work.run_out()
    assert (work.spell, work.is_at_stop) == (0, True)
    work.go_on()
    assert (work.spell, work.is_going, work.left) == (1, False, 360.0)


def test_the_lap_is_pressed_in_full_before_a_stop(clock: list[float]) -> None:
    assert Work("", [10.0], pressing=15.0, stop=4.0).left == 900.0
