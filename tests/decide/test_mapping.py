"""Surrogate, descent and mapping: against the coupled engine, and within the limits."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from small_bench import LIMITS, refiner_of, ring_figure, small_bench

from wearsim.decide.descent import CLEARLY, Descent, crossed, distinct
from wearsim.decide.library import is_allowed
from wearsim.decide.mapping import MappingEffort, _Mapping, mapped, put_right
from wearsim.decide.refine import Refiner, in_parallel
from wearsim.decide.surrogate import NODES, Surrogate
from wearsim.decide.trial import ROUGH, Trying
from wearsim.errors import ContactError

LITTLE = MappingEffort(
    orders=8, each=6, steps=((48, 6), (24, 6)), rounds=(16, 12, 8), sloped=((6, 2),), waves=1, parents=4,
    crossed=(8, 6), final=(6, 4, 4), climbed=3,
)  # fmt: skip


@cache
def judge() -> Refiner:
    bench = small_bench()
    return refiner_of(bench, ring_figure(bench))


@cache
def surrogate() -> Surrogate:
    return Surrogate(judge().nominal, judge().objective, in_parallel)


def test_every_point_of_the_cube_is_an_allowed_stroke() -> None:
    rng, bench = np.random.default_rng(3), small_bench()
    corners = np.array(np.meshgrid([0.0, 1.0], [0.0, 1.0], [0.0, 1.0])).reshape(3, -1).T
    for family in surrogate().families:
        for y in np.vstack([corners, rng.random((100, 3))]):
            shape = surrogate().shape(family, y)
            assert is_allowed(shape, bench, LIMITS)
            assert shape.kind in (family.kind, "overhang", "straight")


def coupled(shape_of: np.ndarray, family: int, minutes: float) -> np.ndarray:
    start = judge().objective.start
    shape = surrogate().shape(surrogate().families[family], shape_of)
    after = judge().nominal.after(start, Trying(shape, minutes))
    return surrogate().compressed(judge().objective, start.height - after.height)


def test_the_surrogate_is_the_engine_on_its_nodes_and_near_it_between() -> None:
    rng, one = np.random.default_rng(5), surrogate()
    minutes = float(one.minutes[1])
    share = minutes / LIMITS.minutes
    misses = []
    for _ in range(12):
        family = int(rng.integers(len(one.families)))
        node = np.array([rng.integers(n) / (n - 1) for n in NODES])
        said = one.removal(np.array(family), np.append(node, share))
        true = coupled(node, family, minutes)  # in one go, where the table stops on the way
        assert np.linalg.norm(said - true) < 5e-3 * np.linalg.norm(true)
        between = 0.1 + 0.8 * rng.random(3)
        said, true = (
            one.removal(np.array(family), np.append(between, share)),
            coupled(between, family, minutes),
        )
        misses.append(np.linalg.norm(said - true) / np.linalg.norm(true))
    assert np.median(misses) < 0.15  # good enough to choose by: the rounds put right what is chosen


def test_slopes_are_differences_of_the_residuals() -> None:
    descent = Descent(surrogate(), judge().objective, 1.0)
    batch = descent.drawn(1, 6, np.random.default_rng(2))
    batch.y *= 0.9
    gone = descent.spells(batch)
    rows = descent.residuals(batch, gone, batch.y)
    slopes = descent._slopes(batch, gone, rows)
    for number in (0, 3, 5, 7):
        moved = batch.pick(np.arange(len(batch.y)))
        moved.y = batch.y.copy()
        moved.y.reshape(len(moved.y), -1)[:, number] += 0.02
        change = descent.residuals(moved, descent.spells(moved), moved.y) - rows
        assert np.allclose(slopes[:, :, number] * 0.02, change, atol=1e-9)


def test_down_is_down_and_stays_in_the_cube() -> None:
    descent = Descent(surrogate(), judge().objective, 1.0)
    batch = descent.drawn(4, 16, np.random.default_rng(1))
    before = descent.values(batch)
    after = descent.down(batch, 8)
    assert np.all(after <= before) and np.median(after) < 0.5 * np.median(before)
    assert np.allclose(after, descent.values(batch), rtol=1e-9)
    assert batch.y.min() >= 0.0 and batch.y.max() <= 1.0
    kept = distinct(batch, after, 10)
    assert np.all(np.diff(after[kept]) >= 0.0) and after[kept[0]] == after.min()
    for i in kept:
        for j in kept:
            if i != j and np.array_equal(batch.family[i], batch.family[j]):
                assert np.abs(batch.y[i] - batch.y[j]).max() > CLEARLY


def test_the_rows_of_a_profile_are_the_same_on_all_grids() -> None:
    bench = small_bench()
    fine, rough = judge().objective, refiner_of(bench, ring_figure(bench, ROUGH), accuracy=ROUGH).objective
    bump = [np.exp(-(((one.start.radius / bench.mirror.radius - 0.5) / 0.2) ** 2)) for one in (fine, rough)]
    rows = [one.zones @ profile for one, profile in zip((fine, rough), bump, strict=True)]
    assert np.linalg.norm(rows[0] - rows[1]) < 2e-3 * np.linalg.norm(rows[0])
    assert np.linalg.norm(rows[0]) == pytest.approx(np.linalg.norm(fine.root @ bump[0]), rel=1e-6)


def test_crossed_programmes_are_in_the_cube_and_within_the_minutes() -> None:
    descent = Descent(surrogate(), judge().objective, 1.0)
    rng = np.random.default_rng(4)
    parents = descent.drawn(4, 16, rng)
    young = crossed(parents, 60, len(surrogate().families), rng)
    assert young.y.shape == (60, *parents.y.shape[1:]) and not young.known.any()
    assert young.y.min() >= 0.0 and young.y.max() <= 1.0
    assert young.y[..., 3].sum(axis=1).max() <= 1.0 + 1e-12
    assert young.family.min() >= 0 and young.family.max() < len(surrogate().families)
    whole = {one.tobytes() for one in parents.y}
    assert sum(one.tobytes() not in whole for one in young.y) > 0


def test_slopes_of_the_engine_are_what_the_surrogate_then_has() -> None:
    """A small move in one number: the tilted surrogate says what the engine does."""
    one = _Mapping(surrogate(), judge(), judge(), LITTLE, lambda: False, lambda judged: None)
    batch = one.descent.drawn(1, 4, np.random.default_rng(6))
    batch.y[..., 3] = 0.4  # no spell too short to be worked
    batch.origin = batch.y.reshape(len(batch.y), -1).copy()
    best = put_right(batch, np.full(len(batch.y), np.inf), surrogate(), judge())[1]
    assert np.isfinite(best).all()
    one._tilt(batch)
    start = judge().objective.start
    for i in range(len(batch.y)):
        for spell, number in ((0, 0), (1, 3)):
            y = batch.y[i : i + 1].copy()
            y[0, spell, number] += 0.01 if y[0, spell, number] <= 0.99 else -0.01
            moved = replace(batch.pick(np.array([i])), y=y)
            said = one.descent.spells(moved).sum(axis=1)[0] + moved.more(y)[0]
            programme = surrogate().programme(batch.family[i], y[0])
            end = judge().nominal.states(start, programme)[-1].height
            true = surrogate().compressed(judge().objective, start.height - end)
            assert np.linalg.norm(said - true) < 1e-9 * np.linalg.norm(true)


def test_rounds_put_the_surrogate_right() -> None:
    """The engine's own best comes down round by round, and the same again."""
    rounds: list[float] = []
    found = mapped(
        judge(), judge(), LITTLE, lambda: False,
        lambda judged: rounds.append(min(one.score.cost for one in judged)),
    )  # fmt: skip
    assert len(rounds) == len(LITTLE.final) and min(rounds) <= rounds[0]
    assert min(rounds) < 0.2 * judge().objective.rms_before
    again = mapped(judge(), judge(), LITTLE, lambda: False, lambda judged: None)
    assert [one.programme for one in again] == [one.programme for one in found]
    for one in found:
        assert len(one.programme) <= LIMITS.spells
        assert all(t.minutes >= LIMITS.shortest for t in one.programme)
        assert sum(t.minutes for t in one.programme) <= LIMITS.minutes * (1.0 + 1e-9)
        assert all(is_allowed(t.shape, small_bench(), LIMITS) for t in one.programme)
        assert one.score.cost == pytest.approx(judge().judge(one.programme).score.cost, rel=1e-12)


def test_rough_grids_then_finer_ones() -> None:
    """What rough grids find is judged and put right on the finer ones, and is good there."""
    bench = small_bench()
    rough = refiner_of(bench, ring_figure(bench, ROUGH), accuracy=ROUGH)
    found = mapped(rough, judge(), LITTLE, lambda: False, lambda judged: None)
    best = min(found, key=lambda one: one.score.cost)
    assert best.score.cost == judge().judge(best.programme).score.cost
    assert best.score.cost < 0.2 * judge().objective.rms_before


def test_nothing_is_begun_when_the_time_is_over() -> None:
    before = judge().nominal.work
    assert mapped(judge(), judge(), LITTLE, lambda: True, lambda judged: None) == []
    assert judge().nominal.work == before


def test_the_table_leaves_out_what_the_contact_refuses(monkeypatch: pytest.MonkeyPatch) -> None:
    one = judge().nominal
    after, seen = one.after, []

    def some(state, tried):  # type: ignore[no-untyped-def]
        seen.append(tried)
        if tried.shape.length > 0.5:
            raise ContactError("of the test", 1.0)
        return after(state, tried)

    monkeypatch.setattr(one, "after", some)
    table = Surrogate(one, judge().objective, lambda f, strokes: [f(s) for s in strokes])
    assert 0.0 < table.lost.mean() < 1.0
    assert np.all(np.isfinite(table.table)) and np.all(table.table[table.lost] == 0.0)


def test_time_up_in_the_table_is_the_end_of_it() -> None:
    asked = iter([False] * 1 + [True] * 100)
    assert mapped(judge(), judge(), LITTLE, lambda: next(asked), lambda judged: None) == []
