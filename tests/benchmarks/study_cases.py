"""Studies of any size for the benchmarks: twenty-minute W strokes on the worked 300 mm bench."""

from __future__ import annotations

import tomllib

from wearsim.study.plan import Study, study_from_table

_TEXT = """
[study]
bench = "raised-zone-300"
keep = ["surface_rms", "surface_pv", "strehl", "conic_fit", "edge_roll", "peak_pressure", "lift_off_share"]

[[spell]]
lap = "full"
stroke = "w"
length = 0.4
side_sweep = 0.15
minutes = {minutes}

[[axis]]
key = "spell 1.on_top"
list = ["tool", "mirror"]

[[axis]]
key = "spell 1.side_overhang"
grid = {{ first = 0.0, last = 0.15, count = 10 }}

[[axis]]
key = "hands.push"
sample = {{ spread = "uniform", least = "0 N", most = "60 N" }}

[[axis]]
key = "lap 1.relaxation_time"
sample = {{ spread = "log-normal", median = "5 min", factor = 2.0 }}

[sample]
count = {count}
"""


def study_of(cases: int, minutes: float = 20.0) -> Study:
    """A study of about so many cases (a multiple of 20); every one has a bench of its own."""
    text = _TEXT.format(count=max(1, cases // 20), minutes=minutes)
    return study_from_table(tomllib.loads(text), text=text)
