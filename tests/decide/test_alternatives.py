"""A proposal, and simpler ones to lay beside it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from wearsim.decide import alternatives as module
from wearsim.decide.limits import Limits


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[Limits]:
    """The limits of each search; what is found is as long as the minutes allow, in as many spells."""
    limits_of: list[Limits] = []

    def propose(bench: Any, *, limits: Limits, with_trade_off: bool, progress: Any) -> Any:
        assert with_trade_off == (not limits_of)
        progress("looking", 1e-8)
        limits_of.append(limits)
        return SimpleNamespace(programme=SimpleNamespace(text=f"{limits.minutes} min, {limits.spells}"))

    monkeypatch.setattr(module, "propose", propose)
    return limits_of


def _found(limits: Limits) -> tuple[list[str], list[str]]:
    told: list[str] = []
    found = module.alternatives(None, limits, lambda name, *_: told.append(name))  # type: ignore[arg-type]
    return [name for name, _ in found], told


def test_what_was_found_before_is_left_out(asked: list[Limits]) -> None:
    names, told = _found(Limits(minutes=60.0, spells=3, on_top=("tool", "mirror")))
    assert names == ["Best within the limits", "One spell", "Half the minutes"]
    assert told == [*names[:2], "Tool on top only", "Mirror on top only", names[2]]
    assert [one.on_top for one in asked[2:4]] == [("tool",), ("mirror",)]


def test_narrow_limits_leave_less_to_look_for(asked: list[Limits]) -> None:
    names, _ = _found(Limits(minutes=3.0, spells=1, on_top=("tool",)))
    assert names == ["Best within the limits", "Half the minutes"]
    assert [one.minutes for one in asked] == [3.0, 2.0]
