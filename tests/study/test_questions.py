"""Ready questions to one's own bench: what is worked, what is answered, and how shares are smoothed."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.helpers.studies import COARSE, Inline
from wearsim.bench.toml_io import load_bench
from wearsim.cli.main import run
from wearsim.show.answers import answer_figure, answer_text
from wearsim.study import run as runs
from wearsim.study.executors import Pool
from wearsim.study.quantities import none_seen, smoothed_shares, standard_error
from wearsim.study.questions import QUESTIONS, Answer, QuestionName, answer_of, study_of
from wearsim.study.run import run_study
from wearsim.study.study_file import StudyResult

DRAWS = 3


@pytest.fixture(scope="module")
def answers(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Any, Answer, StudyResult]]:
    """Every question to the worked bench, coarsely and with few draws."""
    folder, bench = tmp_path_factory.mktemp("answers"), load_bench("raised-zone-300")
    found = {}
    patch = pytest.MonkeyPatch()
    for name, question in QUESTIONS.items():
        patch.setitem(QUESTIONS, name, replace(question, draws=min(question.draws, DRAWS)))
        study = study_of(name, bench, Path("raised-zone-300"))
        result = run_study(study, folder / f"{name}.h5", Inline(), accuracy=COARSE)
        found[name] = (bench, answer_of(name, study, result), result)
    patch.undo()
    return found


@pytest.mark.parametrize("name", QUESTIONS)
def test_an_answer_in_words_in_json_and_drawn(answers: Any, name: QuestionName) -> None:
    bench, answer, result = answers[name]
    text = answer_text(bench, answer, result)
    assert text.startswith(QUESTIONS[name].words) and max(map(len, text.splitlines())) <= 80
    assert json.loads(json.dumps(answer.to_json(), allow_nan=False))["question"] == name
    figure = answer_figure(bench, answer, result)
    assert len(figure.axes) >= 2 and all(axes.lines for axes in figure.axes)
    figure.canvas.draw()
    labels = [tick.get_text() for axes in figure.axes for tick in axes.get_xticklabels(which="both")]
    assert any(labels) and not any("$" in label for label in labels)  # no formulas that are not set


def test_the_one_on_top_is_held_against_doing_nothing(answers: Any) -> None:
    bench, answer, result = answers["on-top"]
    before = answer.found["surface_rms_before_m"]
    assert all(before == pytest.approx(one.values["surface_rms_before"]) for one in answer.curves)
    for share, is_said in ((1.0, True), (0.5, False)):
        best = {label: {**one, "surface_rms_m": share * before} for label, one in answer.found["best"].items()}
        told = replace(answer, found={**answer.found, "best": best})
        assert ("None of these strokes" in answer_text(bench, told, result)) is is_said


def test_the_strokes_are_stated(answers: Any) -> None:
    for name, sizes in (
        ("overhang", "20 minutes of W strokes, 90 mm (0.30 D) long, 30 mm (0.10 D) to each side of their middle"),
        ("on-top", "20 minutes of straight strokes, over the centre"),
        (
            "pitch",
            "20 minutes of W strokes, 150 mm (0.50 D) long, 30 mm (0.10 D) to each side of their middle, mirror on top",
        ),
    ):
        bench, answer, result = answers[name]
        assert sizes in " ".join(answer_text(bench, answer, result).split())
        assert sizes in " ".join(answer_figure(bench, answer, result).get_suptitle().split())


def test_overhang_is_how_far_the_top_edge_passes_the_bottom_one(answers: Any) -> None:
    bench, answer, result = answers["overhang"]
    half, sweep, size = 0.5 * 0.3, 0.1, bench.mirror.diameter
    gap = bench.laps[0].radius - bench.mirror.radius
    for one, sign in zip(answer.curves, (1.0, -1.0), strict=True):
        corner = size * np.hypot(half, one.at + sweep) + sign * gap
        short = corner - one.values["overhang"]  # the end of a stroke is not quite at the end of the sweep
        assert np.all(short >= 0.0) and np.all(short < 0.01 * size)
    farthest = answer.found["overhang_m"]["tool"]
    assert farthest is None or f"passes the glass's by {1e3 * farthest:.0f}" in " ".join(
        answer_text(bench, answer, result).split()
    )


def test_a_chance_of_none_is_an_upper_bound(answers: Any) -> None:
    bench, answer, result = answers["overhang"]
    none = {"roll_risk_added": np.zeros(8), "rim_risk_added": np.full(8, 0.2), "draws_kept": np.full(8, 64.0)}
    curves = tuple(replace(one, values={**one.values, **none}) for one in answer.curves)
    text = answer_text(bench, replace(answer, curves=curves), result)
    assert text.count("<5") == 16 and "20 +-" in text  # 3 of 64
    assert none_seen(300.0) == pytest.approx(0.01) and abs(0.99**299 - 0.05) < 1e-3


def test_what_hides_a_turned_edge_is_said(answers: Any) -> None:
    text = " ".join(answer_text(*answers["overhang"]).split())
    assert "turns oblate lifts its rim" in text and "make a turned edge more likely, not less" in text


def test_two_that_cannot_be_told_apart_are_as_good_as_each_other(answers: Any) -> None:
    _, answer, result = answers["on-top"]

    def better(tool: tuple[float, float], mirror: tuple[float, float]) -> Any:
        curves = []
        for one, (rms, end) in zip(answer.curves, (tool, mirror), strict=True):
            ends = np.stack([np.full(one.at.size, rms), np.full(one.at.size, end)], axis=1) * 1e-9
            values = {**one.values, "surface_rms": np.full(one.at.size, rms * 1e-9)}
            curves.append(replace(one, values=values, ends={**one.ends, "surface_rms": ends}))
        return QUESTIONS["on-top"].find(tuple(curves), result)["better"]

    assert better((16, 50), (14, 62)) is None  # the line says one, the band the other
    assert better((14, 50), (16, 60)) is None  # less than the error of the band
    assert better((14, 50), (16, 70)) == "tool"
    assert better((30, 90), (16, 70)) == "mirror"


def test_the_one_on_top_has_a_row_for_leaving_it_alone(answers: Any) -> None:
    bench, answer, result = answers["on-top"]
    rows = [line.split() for line in answer_text(bench, answer, result).splitlines()]
    alone = [row for row in rows if row[:2] == ["none", "-"]]
    assert len(alone) >= 2 and all(
        int(row[2]) == round(answer.found["surface_rms_before_m"] * 1e9) for row in alone[:1]
    )
    for label, place in (("is_shortest", "the shortest tried"), ("is_longest", "the longest tried")):
        told = {key: {**one, "is_shortest": False, "is_longest": False, label: True}
                for key, one in answer.found["best"].items()}  # fmt: skip
        assert place in " ".join(
            answer_text(bench, replace(answer, found={**answer.found, "best": told}), result).split()
        )


def test_an_edge_that_alarms_is_in_the_headline(answers: Any) -> None:
    bench, answer, result = answers["pitch"]
    curves = answer.curves
    spoiled = np.array([0.0, 0.0, 0.0, 0.0, -111e-9])
    sound = {name: np.zeros(5) for name in ("edge_roll_change", "rim_height_change")}
    spoilt = ({}, {}, {"edge_roll_change": spoiled})
    changed = tuple(
        replace(one, values={**one.values, **sound, **part}) for one, part in zip(curves, spoilt, strict=True)
    )
    found = QUESTIONS["pitch"].find(changed, result)
    text = " ".join(answer_text(bench, replace(answer, curves=changed, found=found), result).split())
    warm = bench.wear.temperature + 4.0
    assert (
        f"Watch the edge: at {warm:g} degC and 3 times the stiffness these strokes lower the edge roll by 111 nm"
        in text
    )
    quiet = {**found, "worst_edge": {**found["worst_edge"], "added_m": -10e-9}}
    assert "Watch the edge" not in answer_text(bench, replace(answer, found=quiet), result)


def test_the_middle_of_a_row_is_not_left_out_of_a_range(answers: Any) -> None:
    bench, answer, result = answers["pitch"]
    conic = answer.found["conic_fit"]
    text = " ".join(answer_text(bench, answer, result).split())
    for first, last in (("softest", "hardest"), ("coldest", "warmest")):
        assert f"{conic[first]:.2f} to {conic[last]:.2f}" not in text
        assert all(f"{conic[one]:z.2f}" in text for one in (first, last, "as_it_is"))


def test_overhang_lowers_the_rim_more_the_further_it_goes(answers: Any) -> None:
    _, answer, _ = answers["overhang"]
    tool, mirror = answer.curves
    assert (tool.label, mirror.label) == ("tool", "mirror")
    rim = tool.values["rim_height_change"]
    assert rim[-1] < rim[-2] < rim[-3] < rim[0]
    assert set(answer.found["farthest"]) == {"tool", "mirror"}


def test_what_is_added_is_after_less_before(answers: Any) -> None:
    for name in ("edge_roll", "rim_height"):
        curves = answers["overhang"][1].curves
        before = np.concatenate([one.values[name] - one.values[f"{name}_change"] for one in curves])
        assert np.nanmax(before) - np.nanmin(before) < 1e-15  # the same glass before every case


def test_the_farthest_is_where_both_risks_are_still_accepted(answers: Any) -> None:
    _, answer, _ = answers["overhang"]
    for one in answer.curves:
        farthest = answer.found["farthest"][one.label]
        worst = np.maximum(
            *(one.values[f"{name}_risk_added"] + one.values[f"{name}_risk_added_error"] for name in ("roll", "rim"))
        )
        safe = one.at[: int(np.argmin(worst <= 0.1))] if np.any(worst > 0.1) else one.at
        assert farthest == (safe[-1] if safe.size else None)


def test_a_stiffer_pitch_is_asked_on_the_bench_s_own(answers: Any) -> None:
    bench, answer, _ = answers["pitch"]
    at = answer.curves[0].at
    assert at[2] == pytest.approx(bench.laps[0].stiffness) and at[-1] / at[0] == pytest.approx(9.0)
    assert [float(one.label) for one in answer.curves] == pytest.approx(
        [bench.wear.temperature + step for step in (-4.0, 0.0, 4.0)]
    )
    found = answer.found["conic_fit"]
    assert found["least"] <= found["as_it_is"] <= found["most"]


def test_shares_are_smoothed_without_bending_a_line(rng: Any) -> None:
    at, draws = np.linspace(0.0, 0.35, 8), np.full(8, 64.0)
    line = 0.1 + 2.0 * at
    assert smoothed_shares(at, line, draws)[0] == pytest.approx(line)
    truth = 1.0 / (1.0 + np.exp(-(at - 0.2) / 0.06))
    trials = [smoothed_shares(at, rng.binomial(64, truth) / 64.0, draws) for _ in range(400)]
    smooth, error = (np.array(part) for part in zip(*trials, strict=True))
    counted = np.sqrt(truth * (1.0 - truth) / 64.0)
    assert np.all(smooth.std(axis=0)[1:-1] < 0.9 * counted[1:-1])  # what smoothing is for
    assert np.median(error, axis=0) == pytest.approx(smooth.std(axis=0), rel=0.35)
    assert np.max(np.abs(smooth.mean(axis=0) - truth)) < 0.5 * counted.max()


def test_a_share_that_is_missing_stays_missing() -> None:
    smooth, error = smoothed_shares(np.arange(4.0), np.array([0.0, np.nan, 0.5, 1.0]), np.full(4, 10.0))
    assert np.isnan(smooth[1]) and np.isnan(error[1]) and np.all(np.isfinite(smooth[[0, 2, 3]]))
    alone = smoothed_shares(np.zeros(1), np.array([0.3]), np.full(1, 10.0))
    assert alone[0] == pytest.approx([0.3]) and alone[1] == pytest.approx([standard_error(3, 10)])


def test_the_command_asks_a_bench(tmp_path: Path, monkeypatch: Any, capsys: Any) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(runs, "pool_for", lambda *_: Pool(Inline(), 1))
    monkeypatch.setitem(QUESTIONS, "on-top", replace(QUESTIONS["on-top"], draws=1))
    (tmp_path / "mine.toml").write_text(
        '[mirror]\ndiameter = "8 in"\nradius_of_curvature = "96 in"\n[lap]\ndiameter = "8 in"\nmass = "5 lb"\n'
        "[figure]\nconic = 0.0\n"
    )
    assert run(["study", "mine.toml", "--question", "on-top", "--plot", "on.png"]) == 0
    said = capsys.readouterr()
    assert said.out.startswith("Tool on top or mirror on top?") and " in (0." in said.out
    assert (tmp_path / "mine-on-top.h5").exists() and (tmp_path / "on.png").exists()
    assert "Next: wearsim propose mine.toml" in said.err
    assert run(["study", "mine.toml"]) == 2
    assert "a standard question about this bench: --question overhang" in capsys.readouterr().err
