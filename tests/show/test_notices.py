"""How long one waits, in words."""

from __future__ import annotations

import pytest

from wearsim.show.notices import time_words


@pytest.mark.parametrize(
    ("minutes", "words"),
    [
        (0.5, "5 min"),
        (41.0, "45 min"),
        (60.0, "60 min"),
        (61.0, "about 1.5 h"),
        (115.0, "about 2 h"),
        (138.0, "about 2.5 h"),
    ],
)
def test_a_wait_is_said_in_one_way(minutes: float, words: str) -> None:
    assert time_words(60.0 * minutes) == words
