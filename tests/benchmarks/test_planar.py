"""Speed of the planar engine: its arithmetic floor, an honest NumPy twin, two threads against one.

Nothing here is a test of accuracy and no time is a threshold; run with ``pytest tests/benchmarks/test_planar.py -s``.

Operations are counted by hand from the kernels, for one cell: additions, multiplications, comparisons, conversions,
quotients and roots, each as one. Loads and stores count nothing. The floor takes them at the rate at which this machine
does multiply-adds on numbers in its nearest cache, in two ways of counting: a multiplication with the addition that
follows it as one operation, which is how the machine does them; or as two, of which it then does twice as many a second.
The second is a floor that only code made of nothing but multiply-adds could reach. Times against the floor and the twin are
this process's own, not those of others on the machine.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

import numba
import numpy as np
import pytest

from tests.helpers.planar_rig import planar_pieces
from wearsim.bench.programme import Stroke
from wearsim.kernels import planar_grid as grid
from wearsim.kernels.planar_wear import walk
from wearsim.parallel import choose_layer
from wearsim.wear.accuracy import PlanarAccuracy
from wearsim.wear.planar.grid import read_map
from wearsim.wear.planar.motion import Motion, moments_of, poses_of
from wearsim.wear.planar.walk import PlanarSpell, room_for, walk_spell

# lay: places 11, read 9, hold 11, stiffen 6, add 1; wear: cover 5, wear 10, peak and contact 10;
# creep: places 11, read 9, bear 33, sink 7
ONCE_A_POSE = 123
A_PASS = 13
# of these, multiply-adds: lay: places 2, read 3, hold 4, stiffen 1; wear: cover 2, wear 4, peak 1;
# creep: places 2, read 3, bear 12, sink 2
FUSED_ONCE = 36
FUSED_A_PASS = 4
LOAD, CELLS = 70.0, 128
PIECES = planar_pieces(CELLS, edge_gain=0.3)
LAW = np.array([PIECES.preston, 1.0, 1.0])


@pytest.fixture(autouse=True)
def _layer() -> None:
    """The layer that the engine chooses, before numba has started another."""
    choose_layer()


def _best(work: Callable[[], object], repeats: int = 7, clock: Callable[[], float] = time.process_time) -> float:
    times = []
    for _ in range(repeats):
        begin = clock()
        work()
        times.append(clock() - begin)
    return min(times)


@numba.njit(fastmath=True, nogil=True)
def _multiply_add(values, repeats):
    for _ in range(repeats):
        for i in range(values.size):
            x = values[i]
            y = x * 0.999 + 1e-9
            y = y * x + 0.3
            y = y * x + 0.2
            y = y * x + 0.1
            y = y * x + 0.3
            y = y * x + 0.2
            y = y * x + 0.1
            values[i] = y * 1e-3


def operations_a_second() -> float:
    """Multiply-adds a second of one core, in the nearest cache."""
    values = np.full(1024, 0.5)
    _multiply_add(values, 1)
    return 8.0 * values.size * 2000 / _best(lambda: _multiply_add(values, 2000), 15)


def _rig(strokes: int):
    glass, pitch = PIECES.glass, PIECES.pitch
    motion = Motion("tool", Stroke("w", 0.15, 0.06, 0.0, 8.0, 50 / 60), 2 * np.pi / 240, 2 * np.pi / 360, lead=0.005)
    poses = poses_of(motion, moments_of(0, strokes, 16), 0.075)
    w = 250e-9 * np.exp(-(((glass.distance / 0.15 - 0.82) / 0.1) ** 2))
    return glass, pitch, poses, w, np.zeros((pitch.across.size,) * 2)


def _walk_once(rig, balances):
    glass, pitch, poses, w, u = rig
    work = room_for(glass, pitch, 4)
    walk(poses, balances, w.copy(), u.copy(), glass, pitch, work, LOAD, LAW, PIECES.relaxation, 1e-9)


def test_against_the_arithmetic_floor():
    rate = operations_a_second()
    rig = _rig(40)
    balances = np.zeros((*rig[2].shape[:2], grid.BALANCE_COLUMNS))
    before = numba.get_num_threads()
    numba.set_num_threads(1)
    _walk_once(rig, balances)
    seconds = _best(lambda: _walk_once(rig, balances.copy() * 0.0), 15)
    numba.set_num_threads(before)
    size = float(rig[0].across[1] - rig[0].across[0])
    cells = balances[..., grid.COVERED] / size**2
    passes = balances[..., grid.STEPS]
    print(f"\nrate {rate / 1e9:.1f} G multiply-adds/s; {seconds / passes.size * 1e6:.1f} us a pose")
    print(
        f"{seconds / np.sum(cells) * 1e9:.2f} ns a cell and pose, {seconds / np.sum(cells * passes) * 1e9:.2f} ns a pass"
    )
    for words, once, each, a_second in (
        ("one", ONCE_A_POSE, A_PASS, rate),
        ("two", ONCE_A_POSE + FUSED_ONCE, A_PASS + FUSED_A_PASS, 2.0 * rate),
    ):
        least = np.sum(cells * (once + each * passes)) / a_second
        print(
            f"a multiply-add as {words}: {once} operations and {each} a pass, {passes.mean():.2f} passes; floor "
            f"{least / np.sum(cells) * 1e9:.2f} ns a cell and pose: {seconds / least:.2f} x"
        )


def _numpy_pose(pose, w, u, glass, pitch, guess):
    """The same pose with NumPy's whole arrays, cut down to the rows and columns under the lap."""
    size = glass.across[1] - glass.across[0]
    cx, cy, c, s = pose[0], pose[1], pose[2], pose[3]
    reach = min(0.15, pitch.radius) + 2 * size
    js = slice(*np.searchsorted(glass.across, [max(-reach, cy - reach), min(reach, cy + reach)]))
    ix = slice(*np.searchsorted(glass.across, [max(-reach, cx - reach), min(reach, cx + reach)]))
    x, y = glass.across[ix][None, :], glass.across[js][:, None]
    over_x, over_y = x - cx, y - cy
    gap = w[js, ix] + read_map(u, pitch.across, c * over_x + s * over_y, c * over_y - s * over_x)
    need = (glass.reach**2 + cx * cx + cy * cy - pitch.radius**2) / (2 * glass.reach)
    stiff = pitch.stiffness * (
        1.0 + np.where(cx * x + cy * y >= need * glass.distance[js, ix], glass.gain[js, ix], 0.0)
    )
    at = (x * glass.inward[js, ix] - cx) ** 2 + (y * glass.inward[js, ix] - cy) ** 2
    ramp = np.clip(0.5 + (pitch.radius**2 - at) / (2 * pitch.radius * glass.width[js, ix]), 0, 1)
    weight, z = stiff * glass.area[js, ix] * ramp, guess.copy()
    passes = 0
    while True:
        depth = z[0] + z[1] * x + z[2] * y + gap
        k = np.where(depth > 0, weight, 0.0)
        p = k * depth
        left = np.array([LOAD - p.sum(), LOAD * pose[7] - (p * x).sum(), LOAD * pose[8] - (p * y).sum()])
        passes += 1
        if np.abs(left / [LOAD, LOAD * 0.15, LOAD * 0.15]).max() < 1e-9 or passes > 30:
            break
        kx, ky = k * x, k * y
        m = np.array(
            [
                [k.sum(), kx.sum(), ky.sum()],
                [kx.sum(), (kx * x).sum(), (kx * y).sum()],
                [ky.sum(), (kx * y).sum(), (ky * y).sum()],
            ]
        )
        z = z + np.linalg.solve(m, left)
    cover = np.clip(0.5 + (pitch.radius**2 - over_x**2 - over_y**2) / (2 * pitch.radius * size), 0, 1)
    speed = np.hypot(pose[4] - pose[6] * y, pose[5] + pose[6] * x)
    worn = PIECES.preston * pose[9] * stiff * cover * np.maximum(depth, 0.0) * speed
    q, r = pitch.across[None, :], pitch.across[:, None]
    lx, ly = cx + c * q - s * r, cy + s * q + c * r
    distance = np.hypot(lx, ly)
    height = read_map(w, glass.across, lx, ly)
    edge = np.where(cx * lx + cy * ly >= need * distance, 0.3 * np.exp(-np.maximum(0.15 - distance, 0.0) / 0.005), 0.0)
    there = np.clip(0.5 + (0.15**2 - distance**2) / (2 * 0.15 * size), 0, 1)
    sunk = pose[9] / 300.0 * there * (1 + edge) * np.maximum(0.0, z[0] + z[1] * lx + z[2] * ly + height + u)
    return z, worn, sunk


def test_against_numpy():
    rig = _rig(6)
    glass, pitch, poses, w, u = rig
    balances = np.zeros((*poses.shape[:2], grid.BALANCE_COLUMNS))
    before = numba.get_num_threads()
    numba.set_num_threads(1)
    _walk_once(rig, balances)
    ours = _best(lambda: _walk_once(rig, balances.copy() * 0.0), 15) / balances[..., 0].size
    numba.set_num_threads(before)
    guesses = balances[-1, :, :3]
    theirs = (
        _best(lambda: [_numpy_pose(p, w, u, glass, pitch, g) for p, g in zip(poses[-1], guesses, strict=True)], 5) / 16
    )
    print(f"\nNumPy {theirs * 1e6:.0f} us a pose, wearsim {ours * 1e6:.0f} us: {theirs / ours:.1f} x")


def test_two_threads_against_one():
    if numba.config.NUMBA_NUM_THREADS < 2:
        pytest.skip("one core")
    # a stroke at a time, in turns: short enough to fall between what others do on the machine
    glass, pitch, poses, w, u = _rig(1)
    balances = np.zeros((*poses.shape[:2], grid.BALANCE_COLUMNS))
    before, times = numba.get_num_threads(), {1: [], 2: []}
    rooms = {threads: room_for(glass, pitch, 4) for threads in times}

    def stroke(threads: int) -> float:
        numba.set_num_threads(threads)
        state, pitch_state, guess = w.copy(), u.copy(), balances.copy()
        begin = time.perf_counter()
        walk(
            poses, guess, state, pitch_state, glass, pitch, rooms[threads], LOAD, LAW,
            PIECES.relaxation, 1e-9,
        )  # fmt: skip
        return time.perf_counter() - begin

    for turn in range(2000):
        for threads, found in times.items():
            found.append(stroke(threads))
        if turn % 10 == 0:
            time.sleep(0.02)
    numba.set_num_threads(before)
    for words, share in (("best", 0.0), ("2nd percentile", 2.0), ("median", 50.0)):
        one, two = (float(np.percentile(times[n], share)) for n in (1, 2))
        print(
            f"\n{words}: 1 thread {one * 1e3:.2f} ms a stroke, 2 threads {two * 1e3:.2f} ms: {one / two:.2f} x", end=""
        )
    print(f" ({numba.threading_layer()})")
    print(f"the machine itself: {_two_side_by_side():.2f} x")


def _two_side_by_side() -> float:
    """What two threads that share nothing get done, over one: best of many."""
    values = [np.full(1024, 0.5), np.full(1024, 0.5)]

    def alone(numbers, found) -> None:
        begin = time.perf_counter()
        _multiply_add(numbers, 400)
        found.append(time.perf_counter() - begin)

    ones, pairs = [], []
    for _ in range(1000):
        alone(values[0], ones)
        both: list[float] = []
        threads = [threading.Thread(target=alone, args=(numbers, both)) for numbers in values]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        pairs.append(max(both))
    return 2.0 * min(ones) / min(pairs)


def test_a_spell_of_twenty_minutes():
    *_, w, u = _rig(1)
    motion = Motion("tool", Stroke("w", 0.15, 0.06, 0.0, 8.0, 50 / 60), 2 * np.pi / 240, 2 * np.pi / 360, lead=0.005)
    spell = PlanarSpell(1200.0, LOAD, motion, 0.06, 0.002)
    begin = time.perf_counter()
    report = walk_spell(spell, PIECES, w, u, accuracy=PlanarAccuracy(cells=CELLS))
    print(f"\n1000 strokes, {CELLS} cells across: {time.perf_counter() - begin:.2f} s, {report.steps} poses")
