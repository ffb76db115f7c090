"""To allow more never makes the best programme worse: six start figures, the default spreads."""

from __future__ import annotations

import pytest

from tests.benchmarks.nested_limits import MOST, growths
from tests.helpers.start_figures import CASES

CHAINS = {
    "spells": [{"spells": 1}, {"spells": 2}],
    "pieces": [{"on_top": ("tool",)}, {"spells": 2}],
    "minutes": [{"minutes": 30.0, "spells": 1}, {"minutes": 60.0, "spells": 1}],
}


@pytest.mark.slow
@pytest.mark.parametrize("number", [0, 4, 5, 6, 9, 12])
def test_the_best_never_grows(number: int) -> None:
    bench = CASES[number].bench(spread=True)
    found = growths(bench, CASES[number].start(bench), CHAINS)
    assert max(found.values()) <= MOST, found
