"""docs/validation.md holds what docs/validation.py gives today."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
from cogapp import Cog

from docs import validation as v

PAGE = Path(v.__file__).with_name("validation.md")
NUMBER = re.compile(r"(?<![\w.])[-+]?\d+(?:\.\d+)?")


def test_page_is_current() -> None:
    page = PAGE.read_text(encoding="utf-8")
    fresh = Cog().process_string(page, PAGE.name)
    assert page.count("[[[cog") >= 13
    # the words must be the same, the figures to 2% or one in the last place
    assert NUMBER.sub("#", page) == NUMBER.sub("#", fresh)
    for was, now in zip(NUMBER.findall(page), NUMBER.findall(fresh), strict=True):
        last = 10.0 ** -len(was.partition(".")[2])
        assert np.isclose(float(was), float(now), rtol=0.02, atol=1.01 * last), (was, now)


def test_verdicts_follow_from_the_figures() -> None:
    runs = [v.DRAPER_RUNS[name] for name in ("equal discs at rest", "and half as stiff, 120 N of iron")]
    long, short = ([v.draper(length, 6.0, **run).conics[-1] for run in runs] for length in (0.52, 0.26))
    assert long[0] > 0.0 > -0.8 > long[1]
    assert abs(short[0]) < 1.0 < 3.0 < short[1]
    oblate = v.make_bench(0.5, 4.0)
    done = v.work(oblate, [v.make_spell("w", "mirror", 60.0, length=0.7, side_sweep=0.2)] * 4, conic=5.0)
    assert abs(done.conics[-1]) < 0.5
