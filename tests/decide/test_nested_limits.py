"""To allow more never makes the best programme worse: six start figures, the default spreads."""

from __future__ import annotations

import pytest

from tests.benchmarks.nested_limits import MOST, growths
from tests.helpers.start_figures import CASES

CHAINS = {
    "spells": [
        {"spells": 1, "on_top": ("tool",), "minutes": 40.0},
        {"spells": 2, "on_top": ("tool",), "minutes": 40.0},
    ],
    "pieces": [{"spells": 1, "on_top": ("tool",), "minutes": 40.0}, {"spells": 1, "minutes": 60.0}],
}


WIDER = {1: {"pieces": [{"on_top": ("tool",)}, {}]}, 11: {"minutes": [{"minutes": 60.0}, {"minutes": 120.0}]}}
"""Where what the wider limits allow once hid the best of the narrower ones, by the number of the start figure."""


@pytest.mark.slow
@pytest.mark.parametrize("number", WIDER)
def test_what_is_allowed_as_well_hides_nothing(number: int) -> None:
    bench = CASES[number].bench(spread=True)
    found = growths(bench, CASES[number].start(bench), WIDER[number])
    assert max(found.values()) <= MOST, found


@pytest.mark.slow
@pytest.mark.parametrize("number", [4, 5, 6, 9, 11, 12])
def test_the_best_never_grows(number: int) -> None:
    bench = CASES[number].bench(spread=True)
    found = growths(bench, CASES[number].start(bench), CHAINS)
    assert max(found.values()) <= MOST, found
