"""Speed of the radial engine: ``python -m pytest tests/benchmarks/test_radial.py`` (ratios and times, no thresholds)."""

from __future__ import annotations

import time
from typing import Any

import numpy as np
import pytest

from tests.benchmarks.accuracy_benches import cases
from tests.benchmarks.numpy_twin import Rates
from tests.helpers.workbench import work_spell
from wearsim.bench.bench import Bench
from wearsim.kernels import radial_wear as kernels
from wearsim.kernels._jit import kernel
from wearsim.kernels.contact import moments_even, moments_full
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.constants import AS_STATED
from wearsim.wear.radial.engine import RadialEngine, spell_contact, spell_weights
from wearsim.wear.state import lap_name

CASES = {case.name: case for case in cases()}
USUAL = "tool W, raised zone"


OPTIONS = ("off", "turning alike", "turning", "p^1.25", "v^0.75", "stiffness p^0.5", "all")


def with_option(bench: Bench, option: str) -> Bench:
    """A bench with one of :data:`OPTIONS` of the physics, or with all of them."""
    hands, wear, lap = {}, {}, {}
    if option == "turning alike":
        hands = {"top_turns": 5.0, "stand_turns": 5.0}
    if option in ("turning", "all"):
        hands = {"top_turns": -12.0, "stand_turns": 5.0}
    if option in ("p^1.25", "all"):
        wear["pressure_exponent"] = 1.25
    if option in ("v^0.75", "all"):
        wear["speed_exponent"] = 0.75
    if option in ("stiffness p^0.5", "all"):
        lap["stiffness_exponent"] = 0.5
    changed = {
        "hands": bench.hands.model_copy(update=hands),
        "wear": bench.wear.model_copy(update=wear),
        "laps": (bench.laps[0].model_copy(update=lap),),
    }
    return bench.model_copy(update=changed)


def prepared(name: str) -> tuple[Any, Any, Any, Any]:
    """Glass, pitch, setting and nodes of a case at its start."""
    case = CASES[name]
    lap, state = case.bench.lap(), case.start(DEFAULT)
    weights, load, _, _ = spell_weights(case.bench, case.spell, lap, 1, DEFAULT)
    force = case.bench.load_on(case.spell.on_top, lap)
    setting, nodes = spell_contact(
        case.bench, lap, case.spell.on_top, force, weights.offset, weights.path, weights.time, load, AS_STATED,
        DEFAULT,
    )  # fmt: skip
    return state.height.copy(), state.laps[lap_name(lap)].height.copy(), setting, nodes


def best(function: Any, repeats: int = 30) -> float:
    """Best processor time of a call [s]."""
    found = np.inf
    for _ in range(repeats):
        begin = time.thread_time()
        function()
        found = min(found, time.thread_time() - begin)
    return float(found)


@pytest.mark.parametrize("name", sorted(CASES))
def test_twenty_minute_spell(benchmark: Any, name: str) -> None:
    case = CASES[name]
    state = case.start(DEFAULT)
    benchmark(lambda: work_spell(case.bench, case.spell, state))


def test_cost_of_options(benchmark: Any) -> None:
    """Each option by itself and all at once against none: processor time of a spell, warm, turn and turn about."""
    engine, names = RadialEngine(), sorted(CASES)
    jobs = {
        (n, o): (with_option(CASES[n].bench, o), CASES[n].spell, CASES[n].start(DEFAULT))
        for n in names
        for o in OPTIONS
    }
    steps = {key: engine.work_spell(*job)[1].evaluations for key, job in jobs.items()}
    times = dict.fromkeys(jobs, np.inf)
    for _ in range(10):
        for key, job in jobs.items():
            times[key] = min(times[key], best(lambda job=job: engine.work_spell(*job), 3))
    for option in OPTIONS[1:]:
        ratio = np.array([times[n, option] / times[n, "off"] for n in names])
        a_step = ratio * [steps[n, "off"] / steps[n, option] for n in names]
        mean, worst = float(np.exp(np.log(ratio).mean())), names[int(ratio.argmax())]
        benchmark.extra_info[option] = mean
        print(f"\n{option}: mean {mean:.2f}, median {np.median(ratio):.2f}, most {ratio.max():.2f} ({worst})", end="")
        print(f"; an evaluation: mean {np.exp(np.log(a_step).mean()):.2f}, most {a_step.max():.2f}", end="")
    benchmark(lambda: engine.work_spell(*jobs[USUAL, "all"]))


@kernel
def _multiply_adds(count: int, out: Any) -> None:
    """Eight independent chains of fused multiply-adds on eight lanes each: what the machine can do at most."""
    a = np.full(64, 1.0)
    for _ in range(count):
        for k in range(64):
            a[k] = a[k] * 0.999999 + 1e-6
    out[0] = a.sum()


def flop_rate() -> float:
    """Measured operations a second of the plainest possible kernel [1/s]."""
    out = np.zeros(1)
    count = 200_000
    _multiply_adds(10, out)
    return 2.0 * 64.0 * count / best(lambda: _multiply_adds(count, out), 10)


@pytest.mark.parametrize(("kind", "operations"), [("even", 14), ("full", 30)])
def test_newton_pass_per_node(benchmark: Any, kind: str, operations: int) -> None:
    """One pass over the nodes is one iteration: gap, activity, and the sums of gradient and Hessian."""
    _, _, _, nodes = prepared(USUAL)
    x, y, area = nodes.area_x.copy(), nodes.area_y.copy(), nodes.area_weight.copy()
    height = 1e-7 * np.cos(40.0 * np.hypot(x, y))

    def run() -> None:
        if kind == "even":
            moments_even(x, area, height, 5e-8, 1e-7)
        else:
            moments_full(x, y, area, height, 5e-8, 1e-7, 2e-7)

    run()
    benchmark(run)
    nanoseconds = best(run, 200) / x.size * 1e9
    floor = operations / flop_rate() * 1e9
    columns = 3 if kind == "even" else 4
    benchmark.extra_info["ns_per_node"] = nanoseconds
    benchmark.extra_info["floor_ns"] = floor
    benchmark.extra_info["bytes_per_node"] = 8 * columns
    print(f"\n{kind}: {nanoseconds:.2f} ns a node, floor {floor:.2f} ns ({operations} operations), {x.size} nodes")


def test_numpy_twin_ratio(benchmark: Any) -> None:
    """The same rates, from the same nodes: kernel against vectorised NumPy."""
    w, u, setting, nodes = prepared(USUAL)
    dw, du = np.zeros_like(w), np.zeros_like(u)
    poses, survey = np.zeros((*setting.time.shape, 3)), np.zeros(4)
    speeds = np.zeros((1, 2, 0), np.float32)
    kernels.rates(w, u, setting, nodes, speeds, poses, True, dw, du, survey)
    twin = Rates(setting, nodes, (w.size, u.size))
    slow_w, slow_u = twin(w, u)
    assert slow_w == pytest.approx(dw, abs=1e-9 * np.abs(dw).max())
    assert slow_u == pytest.approx(du, abs=1e-9 * np.abs(du).max())
    other = w - 1e-9 * np.cos(30.0 * np.linspace(0.0, 1.0, w.size))
    flip = iter(range(10**9))

    def fast() -> None:
        kernels.rates(w if next(flip) % 2 else other, u, setting, nodes, speeds, poses, False, dw, du, survey)

    def slow() -> None:
        twin(w if next(flip) % 2 else other, u)

    quick, slow_time = best(fast, 60), best(slow, 12)
    benchmark.extra_info["ratio"] = slow_time / quick
    print(f"\nrates: kernel {quick * 1e3:.3f} ms, NumPy {slow_time * 1e3:.2f} ms, ratio {slow_time / quick:.0f}")
    benchmark(fast)
