"""predict(): from bench and programme to an outcome, its band and its seeds."""

from __future__ import annotations

import pickle
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

import wearsim as ws
from tests.helpers.workbench import EXACT, make_bench, make_programme, make_spell
from wearsim.bench.bench import Spread
from wearsim.bench.figure_source import FigureSource
from wearsim.errors import InputError, TipsOffError
from wearsim.figure.metrics import FigureNumbers, percentiles
from wearsim.wear import outcome as bands
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.constants import NAMES, Belief, Constants, prior, vector_of
from wearsim.wear.discrepancy import Discrepancy
from wearsim.wear.initial_figure import StartFigure, start_figure
from wearsim.wear.predict import Uncertainty, gauge_for
from wearsim.wear.radial.engine import RadialEngine

QUICK = replace(DEFAULT, glass_rings=32, pitch_rings=24, offsets=10, draws=64)
W = make_spell("w", minutes=10.0, length=0.5, side_sweep=0.2)
AS_THE_ENGINE = Discrepancy(
    spread=0.0,
    spell_spread=0.0,
    shape=0.0,
    even=0.0,
    rim=0.0,
    fine=0.0,
    local=0.0,
    floor=0.0,
    fresh_misfit=0.0,
    sag=0.0,
)


def test_outcome_hangs_together() -> None:
    bench = make_bench()
    press = make_spell("press", minutes=5.0)
    outcome = ws.predict(bench, make_programme(press, W))
    assert outcome.radius[0] == 0.0
    assert outcome.radius[-1] == pytest.approx(0.15)
    assert outcome.stages.shape == (3, outcome.radius.size)
    assert np.array_equal(outcome.stages[0], outcome.before)
    assert np.array_equal(outcome.stages[-1], outcome.figure_error)
    assert np.array_equal(outcome.stages[0], outcome.stages[1])  # pressing takes no glass
    assert outcome.removal.min() >= 0.0
    assert outcome.removal.max() > 1e-8
    assert outcome.peak_pressure == max(s.peak_pressure for s in outcome.spells)
    weighted = (5.0 * outcome.spells[0].lift_off_share + 10.0 * outcome.spells[1].lift_off_share) / 15.0
    assert outcome.lift_off_share == pytest.approx(weighted)
    assert outcome.surface_rms == outcome.numbers.surface_rms == outcome.spells[-1].surface_rms


def test_no_spells_is_the_identity() -> None:
    outcome = ws.predict(make_bench(spread=Spread()), make_programme())
    assert np.all(outcome.removal == 0.0)
    assert np.array_equal(outcome.before, outcome.figure_error)
    assert outcome.numbers == outcome.numbers_before
    assert outcome.band is None
    assert outcome.peak_pressure == outcome.lift_off_share == 0.0


def test_removal_is_the_difference_up_to_piston_and_bowl() -> None:
    # physics section 7
    outcome = ws.predict(make_bench(), make_programme(W))
    apart = outcome.before - outcome.figure_error - outcome.removal
    fit = np.polynomial.Polynomial.fit(outcome.radius**2, apart, 1)
    assert apart == pytest.approx(fit(outcome.radius**2), abs=1e-6 * outcome.removal.max())


def known(constants: Constants) -> Belief:
    return Belief(vector_of(constants), np.zeros((len(NAMES), len(NAMES))))


def band(spread: Spread, seed: int = 0, own: Discrepancy | None = None) -> np.ndarray:
    bench = make_bench(spread=spread)
    outcome = ws.predict(bench, make_programme(W), seed=seed, draws=16, accuracy=QUICK, discrepancy=own)
    assert outcome.band is not None
    return outcome.band.figure_error


def test_the_band_is_of_every_number_and_every_spell(tmp_path: Path) -> None:
    """All percentiles are those of the draws, worked one by one."""
    path = tmp_path / "profile.csv"
    rows = [f"{r},{100 * np.cos(r / 30):.3f},20" for r in range(0, 151, 10)]
    path.write_text("radius_mm,error_nm,sigma_nm\n" + "\n".join(rows))
    learned = Spread(edge_length=1.0, temperature_slope=1.0)
    bench = make_bench(spread=learned).model_copy(update={"figure": FigureSource(profile=path).loaded()})
    # a lap that the programme presses itself is not pressed before
    programme = make_programme(make_spell("press", minutes=1.0), W, make_spell("straight", minutes=4.0, length=0.3))
    outcome = ws.predict(bench, programme, draws=5, seed=7, accuracy=QUICK, discrepancy=AS_THE_ENGINE)
    band, start, belief = outcome.band, start_figure(bench, QUICK), prior(bench)
    assert band is not None and band.before is not None and band.stage_rms is not None
    alone = [
        ws.predict(
            bench, programme, accuracy=QUICK, start=StartFigure(start.radius, height, start.root[:, :0]),
            belief=known(constants),
        )
        for height, constants in zip(start.draws(5, 8), belief.draws(5, 7), strict=True)
    ]  # fmt: skip
    for name, ends in band.numbers.items():
        assert ends == pytest.approx(percentiles([getattr(one.numbers, name) for one in alone]), rel=1e-9), name
        before = percentiles([getattr(one.numbers_before, name) for one in alone])
        assert band.numbers_before[name] == pytest.approx(before, rel=1e-9), name
    assert set(band.numbers) == {f.name for f in fields(FigureNumbers)}
    assert np.allclose(band.removal, percentiles([one.removal for one in alone]), rtol=1e-9, atol=1e-18)
    assert np.allclose(band.before, percentiles([one.before for one in alone]), rtol=1e-9, atol=1e-18)
    rms = percentiles([[spell.surface_rms for spell in one.spells] for one in alone]).T
    assert band.stage_rms == pytest.approx(rms, rel=1e-9) and rms.shape == (3, 2)
    for name in ("peak_pressure", "lift_off_share"):
        ends = percentiles([getattr(one, name) for one in alone])
        assert getattr(band, name) == pytest.approx(ends, rel=1e-9), name
        spells = percentiles([[getattr(spell, name) for spell in one.spells] for one in alone]).T
        kept = band.stage_peak_pressure if name == "peak_pressure" else band.stage_lift_off
        assert kept == pytest.approx(spells, rel=1e-9), name
    change = percentiles([one.figure_error - one.before for one in alone])
    assert np.allclose(band.change, change, rtol=1e-9, atol=1e-18)
    gauge = gauge_for(bench, start.radius)
    shares = [bands.share_of_the_way(one.before, one.removal, gauge) for one in alone]
    assert band.share == pytest.approx(percentiles(shares), rel=1e-9)
    squares = [[one.numbers.surface_rms**2, one.numbers_before.surface_rms**2] for one in alone]
    assert [band.expected_rms, band.expected_rms_before] == pytest.approx(np.sqrt(np.mean(squares, axis=0)), rel=1e-9)
    said = outcome.to_json()
    assert said["expected_rms_m"] == band.expected_rms and said["expected_rms_if_stopped_m"] == band.expected_rms_before
    assert said["peak_pressure_band_pa"] == band.peak_pressure.tolist()
    assert said["spells"][1]["lift_off_share_band"] == band.stage_lift_off[1].tolist()
    assert said["spells"][2]["surface_rms_band_m"] == said["surface_rms_band_m"] == rms[2].tolist()
    assert said["strehl_before_band"] == band.numbers_before["strehl"].tolist()


def test_band_is_wider_with_a_wider_spread() -> None:
    known = EXACT.model_copy(update={"smoothing": 100.0})
    narrow, wide = (band(known.model_copy(update={"preston": f}), own=AS_THE_ENGINE) for f in (1.2, 3.0))
    assert np.ptp(wide, axis=0).mean() > 2.0 * np.ptp(narrow, axis=0).mean()
    as_it_is = band(known.model_copy(update={"preston": 1.2}))
    assert np.ptp(as_it_is, axis=0).mean() > np.ptp(narrow, axis=0).mean()  # a session has a will of its own
    all_four = band(Spread())
    assert np.ptp(all_four, axis=0).mean() > np.ptp(narrow, axis=0).mean()
    for edge in (narrow, wide, all_four):
        assert np.all(edge[0] <= edge[1])


def test_the_share_of_the_way_is_one_where_the_removal_is_the_error() -> None:
    bench = make_bench()
    start = start_figure(bench, QUICK)
    gauge = gauge_for(bench, start.radius)
    error = gauge.aperture.level(50e-9 * np.cos(40.0 * start.radius))
    assert bands.share_of_the_way(error, error, gauge) == pytest.approx(1.0)
    # piston and focus do not count, and half of the error is half of the way
    removal = 0.5 * error + 1e-6 + 1e-6 * start.radius**2
    assert bands.share_of_the_way(error, removal, gauge) == pytest.approx(0.5, rel=1e-6)
    assert bands.share_of_the_way(0.0 * error, error, gauge) == 0.0


def test_no_band_when_all_is_known() -> None:
    """And why is said, and stands in the answer."""
    for spread, draws, reason in ((EXACT, None, bands.EXACT), (Spread(), 0, bands.NOT_ASKED)):
        outcome = ws.predict(make_bench(spread=spread), make_programme(W), draws=draws, accuracy=QUICK)
        assert outcome.band is None and outcome.no_band == outcome.to_json()["no_band"] == reason


def test_nobody_adds_glass() -> None:
    """A difference in shape as large as the removal itself would, in one draw of ten."""
    bench, own = make_bench(spread=Spread()), Discrepancy(even=0.8)
    outcome = ws.predict(bench, make_programme(W), draws=32, accuracy=QUICK, discrepancy=own)
    assert outcome.band is not None and outcome.band.removal is not None
    assert np.min(outcome.band.removal) == 0.0 and np.all(outcome.band.removal[1] > 0.0)


def test_seed_decides_the_draws_and_nothing_else() -> None:
    spread = Spread()
    assert np.array_equal(band(spread, 5), band(spread, 5))
    assert not np.array_equal(band(spread, 5), band(spread, 6))
    one, two = (
        ws.predict(make_bench(spread=spread), make_programme(W), seed=s, draws=2, accuracy=QUICK) for s in (5, 6)
    )
    assert np.array_equal(one.figure_error, two.figure_error)


def test_belief_moves_the_constants() -> None:
    bench = make_bench(spread=Spread())
    outcome = ws.predict(bench, make_programme(W), belief=known(Constants(preston=2.0)), accuracy=QUICK)
    plain = ws.predict(bench, make_programme(W), draws=0, accuracy=QUICK)
    assert outcome.band is None
    assert outcome.removal.mean() == pytest.approx(2.0 * plain.removal.mean(), rel=0.1)


@pytest.mark.parametrize(("own", "width"), [({"spread": 0.2}, 0.2), ({"spell_spread": 0.2}, 0.2), ({}, 0.0)])
def test_a_session_varies_of_its_own_accord(own: dict[str, float], width: float) -> None:
    """All but certain of the constants, one spell: the removal is log-normal with the stated spread."""
    almost = Belief(np.zeros(len(NAMES)), 1e-12 * np.eye(len(NAMES)))
    bench, engine = make_bench(), RadialEngine(QUICK)
    uncertain = Uncertainty(almost, start_figure(bench, QUICK), None, replace(AS_THE_ENGINE, **own))
    drawn = [one for one in uncertain.draws(engine, bench, make_programme(W), 32, 0) if one is not None]
    removals = np.array([np.mean(one.heights[0] - one.heights[-1]) for one in drawn])
    assert len(drawn) == 32 and np.std(np.log(removals)) == pytest.approx(width, rel=0.1, abs=1e-4)


def test_measured_sigma_makes_a_band_of_its_own(tmp_path: Path) -> None:
    widths = []
    for sigma in (0, 20):
        path = tmp_path / f"profile{sigma}.csv"
        rows = [f"{r},{100 * np.cos(r / 30):.3f},{sigma}" for r in range(0, 151, 10)]
        path.write_text("radius_mm,error_nm,sigma_nm\n" + "\n".join(rows))
        bench = make_bench().model_copy(update={"figure": FigureSource(profile=path).loaded()})
        found = ws.predict(bench, make_programme(W), draws=16, accuracy=QUICK)
        widths.append(0.0 if found.band is None else np.ptp(found.band.figure_error, axis=0).mean())
    assert widths[0] == 0.0
    assert 10e-9 < widths[1] < 200e-9


def test_refusals() -> None:
    bench = make_bench()
    with pytest.raises(ValueError, match="radial"):
        ws.predict(bench, make_programme(W), engine="cubic")
    with pytest.raises(TipsOffError, match="spell 2"):
        ws.predict(bench, make_programme(W, make_spell("straight", minutes=1.0, length=1.2)))
    gone = FigureSource(profile=Path("/nowhere/profile.csv"))
    with pytest.raises(InputError, match=r"figure\.profile: no such file"):
        gone.loaded()
    with pytest.raises(InputError, match=r"figure\.profile: its file was not read"):
        ws.predict(bench.model_copy(update={"figure": gone}), make_programme(W))


def test_a_bench_keeps_what_its_files_held(tmp_path: Path) -> None:
    """Nothing is read when a programme is worked, and two benches are equal when their files held the same."""
    path = tmp_path / "profile.csv"
    path.write_text("radius_mm,error_nm\n" + "\n".join(f"{r},{r}" for r in range(0, 151, 10)))
    source = FigureSource(profile=path).loaded()
    again = FigureSource(profile=path).loaded()
    path.write_text("radius_mm,error_nm\n" + "\n".join(f"{r},{2 * r}" for r in range(0, 151, 10)))
    other = FigureSource(profile=path).loaded()
    assert source == again != other
    path.unlink()
    assert pickle.loads(pickle.dumps(source)) == source
    one, two = (
        start_figure(make_bench(glass=0.0).model_copy(update={"figure": figure}), QUICK) for figure in (source, other)
    )
    bare = start_figure(make_bench(glass=-1.0), QUICK)
    np.testing.assert_allclose(two.height - bare.height, 2.0 * (one.height - bare.height), atol=1e-15)
