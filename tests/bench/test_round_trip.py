"""Bench -> TOML -> bench, programme -> TOML -> programme and profile -> CSV -> profile are identities."""

from __future__ import annotations

import pickle
import tempfile
import tomllib
from pathlib import Path

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.helpers.followed import is_followed
from wearsim.bench import materials as catalogue
from wearsim.bench.bench import Bench, Spread, Wear
from wearsim.bench.fields import Extent
from wearsim.bench.figure_source import FigureSource, Light
from wearsim.bench.hands import Hands
from wearsim.bench.lap import Lap
from wearsim.bench.mirror import Mirror
from wearsim.bench.profile import read_profile, write_profile
from wearsim.bench.programme import STROKES, Programme, Spell
from wearsim.bench.toml_io import (
    bench_from_table,
    dump_bench,
    dump_programme,
    load_bench,
    load_programme,
    programme_from_table,
)


def some(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_subnormal=False).map(
        lambda value: value if abs(value) > 1e-9 or low > 0.0 else 0.0
    )


def places(size: float = 0.05) -> st.SearchStrategy[tuple[float, float]]:
    return st.tuples(some(-size, size), some(-size, size))


@st.composite
def mirrors(draw: st.DrawFn) -> Mirror:
    diameter = draw(some(0.05, 2.0))
    by = draw(st.sampled_from(["glass", "density", "mass"]))
    curve, conic = diameter * draw(some(2.0, 40.0)), draw(some(-9.0, 9.0))
    assume(is_followed(diameter, curve, conic))
    return Mirror(
        diameter=diameter,
        radius_of_curvature=curve,
        conic=conic,
        glass=draw(st.sampled_from(catalogue.names("glasses"))),
        density=draw(some(1000.0, 9000.0)) if by == "density" else None,
        mass=draw(some(0.1, 1000.0)) if by == "mass" else None,
        thickness=diameter * draw(some(0.2, 1.0)),
        hole=diameter * draw(some(0.0, 0.5)),
        rim_excluded=diameter * draw(some(0.0, 0.1)),
    )


@st.composite
def laps(draw: st.DrawFn, mirror: Mirror, name: str | None) -> Lap:
    diameter = mirror.diameter * draw(some(0.55, 1.2))  # more than the hole
    star = draw(st.sampled_from([0, 3, 8]))
    return Lap(
        name=name,
        diameter=diameter,
        mass=draw(some(0.1, 50.0)),
        pitch=draw(st.none() | st.sampled_from(catalogue.names("pitches"))),
        pitch_thickness=draw(some(1e-3, 0.02)),
        stiffness=draw(some(1e8, 1e12)),
        relaxation_time=draw(some(1.0, 1e6)),
        pitch_temperature=draw(some(-20.0, 50.0)),
        start=draw(st.sampled_from(["pressed", "spherical"])),
        channel_offset=draw(places()),
        facet_shape=draw(st.sampled_from(["square", "hexagonal", "none"])),
        ring_inner=diameter * draw(some(0.0, 0.4)),
        star_points=star,
        star_depth=diameter * draw(some(0.01, 0.2)) if star else 0.0,
    )


figures = st.one_of(
    st.builds(FigureSource, conic=some(-20.0, 20.0)),
    st.builds(FigureSource, profile=st.just(Path("/nowhere/profile.csv"))),
    st.builds(FigureSource, zernike=st.lists(some(-1e-4, 1e-4), min_size=1, max_size=6)),
)
hands = st.builds(
    Hands,
    push=some(0.0, 500.0),
    push_offset=places(),
    push_height=some(0.0, 0.2),
    friction=some(0.0, 1.0),
    length_jitter=some(0.0, 0.5),
    centre_jitter=some(0.0, 0.02),
    walk=some(1.0, 1e4),
    hand_turn=some(1.0, 1e4),
)
wears = st.builds(
    Wear,
    preston=st.none() | some(1e-15, 1e-10),
    abrasive=st.sampled_from(catalogue.names("abrasives")),
    edge_gain=some(0.0, 3.0),
    edge_length=st.none() | some(1e-3, 0.05),
    temperature=some(-10.0, 40.0),
)
spreads = st.builds(Spread, preston=some(1.0, 9.0), stiffness=some(1.0, 9.0), edge_gain=some(1.0, 9.0))


@st.composite
def benches(draw: st.DrawFn) -> Bench:
    mirror = draw(mirrors())
    names = draw(st.sampled_from([(None,), ("only",), ("full", "small one")]))
    return Bench(
        mirror=mirror,
        laps=tuple(draw(laps(mirror, name)) for name in names),
        hands=draw(hands),
        wear=draw(wears),
        spread=draw(spreads),
        figure=draw(figures),
        light=Light(wavelength=draw(some(3e-7, 1e-6))),
    )


extents = st.builds(Extent, some(1e-4, 2.0), st.booleans())


@st.composite
def spells(draw: st.DrawFn) -> Spell:
    word = draw(st.sampled_from(sorted(STROKES)))
    kind = STROKES[word]
    offered = {
        "length": extents,
        "side_sweep": extents,
        "side_overhang": extents,
        "strokes_per_sweep": some(2.0, 50.0),
        "rate": some(1.0, 100.0),
        "push": some(0.0, 100.0),
        "lap": st.sampled_from(["full", "small one"]),
        "turn": some(-10.0, 10.0),
        "on_top": st.sampled_from(["tool", "mirror"]),
    }
    chosen = {
        key: draw(values)
        for key, values in offered.items()
        if key not in kind.refuses and (key in kind.needs or draw(st.booleans()))
    }
    return Spell(stroke=word, minutes=draw(some(0.01, 10_000.0)), **chosen)


@settings(max_examples=60)
@given(benches())
def test_bench(bench: Bench) -> None:
    again = bench_from_table(tomllib.loads(dump_bench(bench).replace("/nowhere/profile.csv", __file__)))
    if bench.figure.kind == "profile":  # a bench that is read must find its profile: any file will do here
        assert again.figure.profile == Path(__file__)
        again = again.model_copy(update={"figure": bench.figure})
    assert again == bench
    assert hash(again) == hash(bench)


@settings(max_examples=60)
@given(st.lists(spells(), max_size=4))
def test_programme(some_spells: list[Spell]) -> None:
    programme = Programme(spells=tuple(some_spells))
    assert programme_from_table(tomllib.loads(dump_programme(programme))) == programme


@settings(max_examples=40)
@given(st.lists(some(1e-6, 0.1), min_size=2, max_size=9, unique=True), st.booleans(), st.data())
def test_profile(radii: list[float], with_sigma: bool, data: st.DataObject) -> None:
    radius = np.array([0.0, *sorted(radii)])
    mirror = Mirror(diameter=2 * radius[-1], radius_of_curvature=10.0, rim_excluded=0.0)
    assume(np.all(np.diff(radius) > 0))
    heights = st.lists(some(-1e-3, 1e-3), min_size=len(radius), max_size=len(radius))
    error = np.array(data.draw(heights))
    error *= min(1.0, 0.004 * np.diff(radius).min() / max(np.abs(error).max(), 1e-300))  # as flat as a mirror
    sigma = np.abs(np.array(data.draw(heights))) if with_sigma else None
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "profile.csv"
        write_profile(path, radius, error, sigma, comment="made up\nfor a test")
        again = read_profile(path, mirror)
    assert np.array_equal(again.radius, radius)
    assert np.array_equal(again.error, error)
    assert (again.sigma is None) if sigma is None else np.array_equal(again.sigma, sigma)


def test_through_files_and_pickle(folder: Path) -> None:
    bench = load_bench(folder / "bench.toml")
    programme = load_programme(folder / "programme.toml", bench)
    (folder / "again.toml").write_text(dump_bench(bench))
    again = load_bench(folder / "again.toml")
    assert again == bench
    assert again.defaults_used != bench.defaults_used  # all is written out in the second
    assert again.file != bench.file
    for thing in (bench, programme):
        copy = pickle.loads(pickle.dumps(thing))
        assert copy == thing
        assert (copy.text, copy.file, copy.defaults_used) == (thing.text, thing.file, thing.defaults_used)


def test_different_benches_differ(folder: Path) -> None:
    bench = load_bench(folder / "bench.toml")
    warmer = bench.model_copy(update={"wear": bench.wear.model_copy(update={"temperature": 21.0})})
    assert warmer != bench
    assert bench != "bench"
