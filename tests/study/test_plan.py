"""STUDY.toml: axes, samples, and every fault as one line."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import kstest, qmc

from tests.helpers.studies import TEXT, small_study
from wearsim.errors import InputError
from wearsim.study.axes import Distribution, SampleTable, draw_sample
from wearsim.study.cases import job_for
from wearsim.study.plan import load_study, sample_of, study_names


def test_cases_run_along_the_axes_in_the_order_of_the_file() -> None:
    study = small_study()
    assert study.shape == (2, 3, 8) and study.cases == 48
    job, rows = job_for(study), sample_of(study, 0)
    assert rows is not None
    bench, programme = job.bench_and_programme(8 * 4 + 5, rows[5])
    spell = programme.spells[0]
    assert spell.on_top == "mirror" and spell.side_overhang is not None and spell.side_overhang.value == 0.22
    assert bench.hands.push == rows[5, 0] and bench.laps[0].relaxation_time == rows[5, 1]
    assert bench.laps[1] == study.bench.laps[1]


def test_one_value_for_several_keys() -> None:
    text = TEXT.replace('"hands.push"', '["hands.push", "spell 1.push"]')
    study = small_study(text)
    bench, programme = job_for(study).bench_and_programme(0, np.array([33.0, 300.0]))
    assert bench.hands.push == programme.spells[0].push == 33.0


def test_grids_by_equal_factors() -> None:
    text = TEXT.replace("first = 0.0, last = 0.44, count = 3", 'first = 0.01, last = 0.16, count = 5, spacing = "log"')
    assert small_study(text).axes[1].values == pytest.approx((0.01, 0.02, 0.04, 0.08, 0.16))


@pytest.mark.parametrize("method", ["latin-hypercube", "sobol", "random"])
def test_samples_spread_as_they_should(method: str) -> None:
    how = (Distribution("uniform", 2.0, 5.0), Distribution("log-normal", 3.0, 2.5), Distribution("normal", -1.0, 0.5))
    rows = draw_sample(SampleTable(count=1024, method=method), how, seed=4)
    assert rows.shape == (1024, 3)
    assert kstest(rows[:, 0], "uniform", (2.0, 3.0)).pvalue > 0.01
    assert kstest(np.log(rows[:, 1] / 3.0) / np.log(2.5), "norm").pvalue > 0.01
    assert kstest((rows[:, 2] + 1.0) / 0.5, "norm").pvalue > 0.01
    np.testing.assert_array_equal(rows, draw_sample(SampleTable(count=1024, method=method), how, seed=4))
    assert not np.array_equal(rows, draw_sample(SampleTable(count=1024, method=method), how, seed=5))


def test_low_discrepancy_methods_are_what_they_say() -> None:
    how = (Distribution("uniform", 0.0, 1.0), Distribution("uniform", 0.0, 1.0))
    cube = draw_sample(SampleTable(count=64, method="latin-hypercube"), how, seed=0)
    for column in cube.T:  # one in each of 64 slices
        assert sorted((column * 64).astype(int)) == list(range(64))
    sobol, plain = (draw_sample(SampleTable(count=256, method=m), how, seed=0) for m in ("sobol", "random"))
    assert qmc.discrepancy(sobol) < 0.2 * qmc.discrepancy(plain)


@pytest.mark.parametrize("name", study_names())
def test_ready_studies_are_sound(name: str) -> None:
    assert load_study(name).cases > 20


def test_three_studies_are_ready() -> None:
    assert set(study_names()) >= {"overhang-risk", "which-on-top", "pitch-and-temperature"}


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("raised-zone-300", "no-such-bench", "no such file"),
        ("draws = 2", "drawz = 2", "study.drawz: unknown key.*draws"),
        ("draws = 2", "draws = -2", "not a whole number in range"),
        ("draws = 2", "draws = 1000000", "study.draws: not a whole number in range.*0 to 10000"),
        ('"strehl"', '"strel"', "strehl"),
        ('"strehl"', '"after_map"', "only with the planar engine"),
        ('"hands.push"', '"hands.pull"', "axis 3.key"),
        ('"hands.push"', '"spell 1.on_top"', "takes no number"),
        ('"hands.push"', '"lap 1.relaxation_time"', "varied twice|wrong kind"),
        ('least = "10 N"', 'least = "10 mm"', "axis 3.sample.least.*wrong kind of unit"),
        ('least = "10 N"', "least = 10", "the unit is missing"),
        ('least = "10 N"', 'least = "60 N"', "least must be below most"),
        ("factor = 2.0", "factor = 0.5", "invalid factor"),
        ('spread = "uniform"', 'spread = "flat"', "unknown spread"),
        ("count = 8", "count = 9", "power of two"),
        ("[sample]\ncount = 8\nmethod = \"sobol\"", "", "sample and axes do not match"),
        ("count = 3", "count = 0", "axis 2.grid.count"),
        ("last = 0.44", 'last = "44 mm"', "different kinds"),
        ("last = 0.44", "last = 3.5", "axis 2.grid.last: too large.*to 2"),
        ("last = 0.44", "last = 1e-320", "axis 2.grid.last: too small"),
        ('least = "10 N"', 'least = "1e300 N"', "axis 3.sample.least: too large"),
        ('least = "10 N"', "least = [1]", "axis 3.sample.least: the wrong type"),
        ('spread = "uniform"', 'spread = ["normal"]', "unknown spread"),
        ('spread = "uniform"', "spread = { a = 1 }", "unknown spread"),
        ('keep = ["edge_roll"', 'keep = [[["edge_roll"]]', "study.keep: no quantity"),
        ('key = "hands.push"\nsample = { spread = "uniform", least = "10 N", most = "50 N" }',
         'key = "wear.temperature"\nsample = { spread = "normal", mean = "20 degC", sigma = "nan K" }',
         "invalid difference"),
        ('key = "hands.push"\nsample = { spread = "uniform", least = "10 N", most = "50 N" }',
         'key = "hands.centre_jitter"\nlist = ["2 mm", "2 m"]', "axis 3.list: too large.*to 200 mm"),
        ('list = ["tool", "mirror"]', 'list = ["tool", "mirrow"]', "axis 1.spell 1.on_top.*mirrow"),
        ('list = ["tool", "mirror"]', 'list = ["tool", "tool"]', "listed twice"),
        ('list = ["tool", "mirror"]', 'list = ["tool"]\ngrid = { first = 0, last = 1, count = 2 }', "exactly one"),
        ("count = 3 }", "count = 1000000 }\n", "too many cases"),
        ("[[spell]]", "[spells]", "unknown key"),
    ],
)  # fmt: skip
def test_every_fault_is_one_line(old: str, new: str, says: str) -> None:
    assert old in TEXT
    text = TEXT.replace(old, new, 1)
    if "1000000" in text:
        text = text.replace("count = 8", "count = 16")
    with pytest.raises(InputError) as error:
        small_study(text)
    assert "\n" not in str(error.value)
    assert re.search(says, str(error.value)), str(error.value)


def test_profiles_have_no_common_radius_where_the_mirror_grows() -> None:
    text = TEXT.replace('"hands.push"', '"mirror.diameter"').replace('"10 N"', '"300 mm"').replace('"50 N"', '"310 mm"')
    with pytest.raises(InputError, match="no common radius"):
        small_study(text)
    assert small_study(text.replace(', "figure_error"', "")).cases == 48


def test_programme_and_bench_lie_beside_the_study(tmp_path: Path) -> None:
    (tmp_path / "p.toml").write_text('[[spell]]\nstroke = "one-third"\nminutes = 5\n')
    head = '[study]\nbench = "turned-edge-200"\nprogramme = "p.toml"\n'
    (tmp_path / "s.toml").write_text(head + '[[axis]]\nkey = "spell 1.minutes"\nlist = [5, 10, 15]\n')
    study = load_study(tmp_path / "s.toml")
    assert study.shape == (3,) and study.axes[0].unit == "min" and study.axes[0].values == (5.0, 10.0, 15.0)
    (tmp_path / "both.toml").write_text(head + '[[spell]]\nstroke = "one-third"\nminutes = 5\n')
    with pytest.raises(InputError, match="exactly one is needed"):
        load_study(tmp_path / "both.toml")
