"""What was typed and the clock at the barrel, on disc and back."""

from __future__ import annotations

from pathlib import Path

import pytest

from wearsim.learn.barrel_work import Work
from wearsim.learn.draft import FILE, Draft, Round


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """A clock that goes when it is told to."""
    now = [1_000_000.0]
    monkeypatch.setattr("wearsim.learn.barrel_work.time.time", lambda: now[0])
    return now


def test_a_draft_is_the_same_after_a_reload(tmp_path: Path) -> None:
    draft = Draft([Round(["1", ""], True)], [Round(["2", "3"])], "fixed", "abc", {"minutes": 60.0}, [{"minutes": 5.0}])
    draft.work, draft.conditions = Work("text", [1.0, 2.0], done=[3.0, 0.0]), {"notes": "<cold>"}
    (tmp_path / FILE).write_text(draft.text, encoding="utf-8")
    assert Draft.load(tmp_path).text == draft.text


def test_a_dead_battery_costs_no_more_than_a_beat(clock: list[float], tmp_path: Path) -> None:
    draft = Draft(work=Work("", [30.0]))
    assert draft.work is not None
    draft.work.go()
    clock[0] += 300.0
    draft.work.beat = clock[0]
    (tmp_path / FILE).write_text(draft.text, encoding="utf-8")
    clock[0] += 7200.0
    work = Draft.load(tmp_path).work
    assert work is not None and work.since is None and work.seconds() == 300.0


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"rounds": 3}', '{"rounds": [], "after": [], "work": {"programme": 1}}', '{"other": 1}']
)
def test_a_file_that_cannot_be_read_counts_for_nothing(tmp_path: Path, text: str) -> None:
    (tmp_path / FILE).write_text(text)
    assert Draft.load(tmp_path).text == Draft().text
