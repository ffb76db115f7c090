"""Limits within which any stroke is allowed that the mechanics allows."""

from __future__ import annotations

from typing import Any

from wearsim.decide.limits import ANY, Limits


def any_limits(**given: Any) -> Limits:
    """Limits with any stroke, spells of two minutes, either piece on top and fifty strokes a minute, unless given."""
    return Limits(**{"repertoire": ANY, "shortest": 2.0, "on_top": ("tool", "mirror"), "rate": 50.0, **given})
