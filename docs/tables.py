"""Tables of the pages that are read off the code; ``cog`` puts them into the pages (DEVELOPERS.md says how)."""

from __future__ import annotations

import inspect
import re
import runpy
from collections.abc import Iterable
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
from numpydoc.docscrape import NumpyDocString
from scipy.stats import norm

import wearsim
from wearsim.bench import materials as catalogue
from wearsim.bench.bench import EDGE_LENGTH_SOURCE, PRESTON, PRESTON_SOURCE, Bench, Spread, Wear  # noqa: F401
from wearsim.bench.fields import InputTable, expected_of, in_file, rule_of, source_of
from wearsim.bench.figure_source import FigureSource, Light  # noqa: F401  # pages name them
from wearsim.bench.hands import Hands  # noqa: F401
from wearsim.bench.lap import Lap
from wearsim.bench.mirror import Mirror
from wearsim.bench.programme import STROKES, Spell  # noqa: F401
from wearsim.figure.conic import Conic, MirrorGeometry
from wearsim.figure.metrics import figure_numbers, percentiles
from wearsim.learn.mirror_folder import SessionNote  # noqa: F401
from wearsim.study.axes import AxisTable, SampleTable  # noqa: F401
from wearsim.study.plan import StudyTable  # noqa: F401
from wearsim.study.quantities import DEFAULT_KEPT, QUANTITIES, kept_quantities
from wearsim.wear.accuracy import Accuracy
from wearsim.wear.bench_risks import bench_risks, give
from wearsim.wear.constants import IS_FACTOR, NAMES, PRODUCTS, normal_draws

TUTORIAL = Path(__file__).resolve().parents[1] / "examples" / "tutorial"


def table(head: str, rows: Iterable[Iterable[object]]) -> str:
    """A Markdown table; the cells of the head stand between bars."""
    cells = [head.split("|"), *rows]
    lines = ["| " + " | ".join(map(_cell, row)) + " |" for row in cells]
    return "\n".join([lines[0], "|" + " --- |" * len(cells[0]), *lines[1:]])


def _cell(value: object) -> str:
    return " ".join(str(value).replace("|", "\\|").replace("<", "&lt;").split())


def described(kind: type) -> dict[str, str]:
    """What a class says of each of its attributes or parameters."""
    document = NumpyDocString(inspect.getdoc(kind) or "")
    return {
        name.strip(): " ".join(" ".join(entry.desc).split())
        for entry in [*document["Attributes"], *document["Parameters"]]
        for name in entry.name.split(",")
    }


def keys(kind: type[InputTable], **means: str) -> str:
    """Every key of a table of a file: what it takes, its default, what it means, where the default is from.

    Parameters
    ----------
    kind : type of InputTable
    **means : str
        In people's words, where the code's own description speaks to programmers.
    """
    said, rows = described(kind), []
    for name, field in kind.model_fields.items():
        if name in ("file", "text", "defaults_used"):
            continue
        source, value = source_of(field), "required" if field.is_required() else "-"
        if source is not None:
            value = f"`{_toml(in_file(field.default, rule_of(field)))}`"
        what = means.get(name, _plain(said.get(name, "")))
        rows.append((f"`{name}`", expected_of(field) or _takes(field.annotation), value, what, source or ""))
    return table("key | value | default | meaning | source of the default", rows)


def _takes(annotation: Any) -> str:
    """What a key takes whose field does not say it in words."""
    said = str(annotation)
    for mark, words in (("tuple", "a list"), ("int", "a whole number"), ("Path", "a file name")):
        if mark in said:
            return words
    return "as shown below" if "Any" in said else "text"


def _plain(said: str) -> str:
    """A docstring's words without the code's units and references."""
    said = re.sub(r"\s*\[[^\]]*\]|:\w+:", "", said.replace("``", "`"))
    return said.replace("None: ", "by default ").strip(" ,.")


def _toml(value: Any) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return f'"{value}"' if isinstance(value, str) else str(value)


def computed_defaults() -> str:
    """Defaults that are computed from other keys."""
    mass = "density x (pi (a^2 - a_hole^2) thickness - the glass missing above the curve)"
    rows = [
        ("`wear.preston`", f"{PRESTON:g} / Pa x the factors of glass and abrasive", PRESTON_SOURCE),
        ("`wear.edge_length`", "the lap's `pitch_thickness`", EDGE_LENGTH_SOURCE),
        ("`mirror.density`", "the glass's", "table of glasses below"),
        ("`mirror.mass`", mass, "derived"),
    ]
    return table("key | default | source", rows)


def strokes() -> str:
    """Which keys each stroke requires, allows and refuses."""
    sizes = ("length", "side_sweep", "side_overhang", "strokes_per_sweep", "rate", "push")

    rows = [
        (
            f"`{word}`",
            *("required" if s in kind.needs else "not allowed" if s in kind.refuses else "optional" for s in sizes),
        )
        for word, kind in STROKES.items()
    ]
    return table("stroke | " + " | ".join(f"`{size}`" for size in sizes), rows)


def glasses() -> str:
    """Glasses of ``configs/``."""
    rows = [
        (f"`{n}`", f"{g.density:g}", g.density_source, f"{g.wear:g}", g.wear_source)
        for n, g in _each("glasses", catalogue.glass)
    ]
    return table("`mirror.glass` | density [kg/m^3] | its source | wear, borosilicate = 1 | its source", rows)


def neglected() -> str:
    """What five discs of 300 mm with a tool of 4 kg risk."""
    rows = []
    for glass, thickness in zip(["borosilicate"] * 3 + ["soda-lime"] * 2, (50, 38, 25, 50, 25), strict=True):
        mirror = Mirror(diameter=0.3, radius_of_curvature=3.0, thickness=thickness / 1e3, glass=glass)
        bench = Bench(mirror=mirror, laps=(Lap(diameter=0.3, mass=4.0),), figure=FigureSource(conic=0.0))
        cells = [
            f"{risk.rms * 1e9:.0f}" + (f" ({risk.careless * 1e9:.0f})" if risk.careless > risk.rms else "")
            for risk in bench_risks(bench)
        ]
        rows.append((f"{glass}, {thickness} mm", f"{give(bench):.2f}", *cells))
    return table("glass | its give | hands | three pads | palms | tool | facets", rows)


def abrasives() -> str:
    """Abrasives of ``configs/``."""
    rows = [(f"`{n}`", f"{a.wear:g}", a.wear_source) for n, a in _each("abrasives", catalogue.abrasive)]
    return table("`wear.abrasive` | wear, cerium oxide = 1 | its source", rows)


def pitches() -> str:
    """Pitches of ``configs/``."""
    rows = [
        (f"`{n}`", f"{p.stiffness:g}", f"{p.relaxation_time / 60:g}", f"{p.pitch_temperature:g}", p.source)
        for n, p in _each("pitches", catalogue.pitch)
    ]
    return table("`lap.pitch` | stiffness [Pa/m] | relaxes in [min] | at [degC] | source", rows)


def benches() -> str:
    """Names of the worked benches."""
    return ", ".join(f"`{name}`" for name in catalogue.names("benches")) + "."


def _each(kind: Any, load: Any) -> list[tuple[str, Any]]:
    return [(name, load(name)) for name in catalogue.names(kind)]


def accuracy() -> str:
    """Every numerical setting."""
    said = described(Accuracy)
    return table("setting | default | what", [(f"`{k.name}`", k.default, said[k.name]) for k in fields(Accuracy)])


def quantities() -> str:
    """What a study may keep of a case."""
    kept = kept_quantities(DEFAULT_KEPT, 1)
    rows = [
        (f"`{name}`", one.unit, one.text, "yes" if name in kept else "", "needed" if one.drawn else "")
        for name, one in QUANTITIES.items()
    ]
    return table("name | unit | what | kept by default | `draws`", rows)


def relaxation() -> str:
    """Relaxation time by squeeze flow of one facet, for a few viscosities."""
    thickness, half, stiffness, sliding, rows = 5e-3, 12.5e-3, 5e9, 0.58, []
    for eta in (2e8, 7e8, 1.4e9, 3e9):
        minutes = 3 * eta * half**2 / (2 * stiffness * thickness**3) / 60
        rows.append((f"{eta:.2g}", f"{minutes:.1f}", f"{sliding * minutes:.1f}"))
    return table("viscosity [Pa s] | relaxation time by Stefan [min], for 5e9 Pa/m | on glass that slides [min]", rows)


def misfit() -> str:
    """How a misfit fades with the default constants, and how much of it is due to wear of the glass."""
    stiffness, relaxes = Lap.model_fields["stiffness"].default, Lap.model_fields["relaxation_time"].default
    rows = []
    for speed in (0.05, 0.1, 0.2, 0.4):
        glass = PRESTON * speed * stiffness
        both = glass + 1.0 / relaxes
        rows.append((speed, f"{1 / glass / 60:.0f}", f"{1 / both / 60:.1f}", f"{glass / both:.0%}"))
    head = "mean speed [m/s] | glass alone: 1/e in [min] | both: 1/e in [min] | share due to wear of the glass"
    return table(head, rows)


def spheres() -> str:
    """Spheres against their paraboloids at best focus, by exact conics and the pupil integral."""
    rows = []
    for inches, ratio in ((6, 8), (8, 8), (8, 6), (10, 6), (12.5, 5)):
        rim = inches * 0.0127
        radius, curve = np.linspace(0.0, rim, 200), 4 * ratio * rim
        target = MirrorGeometry(curve, radius=rim, clear_radius=rim)
        numbers = figure_numbers(radius, Conic(curve, 0.0).departure(radius), target, wavelength=550e-9)
        rows.append((f"{inches:g} in f/{ratio}", f"{2e9 * numbers.surface_pv:.0f}", f"{numbers.strehl:.3f}"))
    return table("sphere | wavefront PV at best focus [nm] | Strehl ratio, 550 nm", rows)


def factors() -> list[tuple[str, float, float, float, float, float]]:
    """Of each default spread: name, one-sigma factor, 90% factor, mean, mean square, standard deviation [1]."""
    rows, names = [], [name for name, is_factor in zip(NAMES, IS_FACTOR, strict=True) if is_factor]
    for name in (*names, *PRODUCTS):
        factor = float(getattr(Spread(), name))
        v = np.log(factor) ** 2
        spread = np.sqrt(np.exp(v) * (np.exp(v) - 1))
        rows.append((name, factor, factor ** norm.ppf(0.95), np.exp(v / 2), np.exp(2 * v), spread))
    return rows


def spreads() -> str:
    """The default spreads: what each factor comes to."""
    rows = [(f"`{name}`", *(f"{value:.3g}" for value in values)) for name, *values in factors()]
    head = "constant | $s$, one sigma | 90% within | $m_1$ | $m_2$ | standard deviation of $f$"
    return table(head, rows)


def scatter(count: int, inputs: int, bands: int = 1000) -> tuple[float, float, float]:
    """Mean and standard deviation of the 95th percentile of a normal result, and the mean share a band holds [1].

    Parameters
    ----------
    count : int
        Draws of each band.
    inputs : int
        Inputs whose sum, each as large as the next, the result is.
    bands : int
        Each with a seed of its own.
    """
    sums = (normal_draws(count, inputs, seed).sum(axis=1) / np.sqrt(inputs) for seed in range(bands))
    ends = np.array([percentiles(one) for one in sums])
    held = norm.cdf(ends[:, 1]) - norm.cdf(ends[:, 0])
    return float(ends[:, 1].mean()), float(ends[:, 1].std()), float(held.mean())


def left_by_draws() -> str:
    """What stratified draws leave as error of a percentile."""
    rows = []
    for count in (32, 128):
        for kind, inputs in (("one input", 1), ("four in equal parts", 4)):
            middle, error, held = scatter(count, inputs)
            rows.append((count, kind, f"{middle:.2f}", f"{error:.2f}", f"{held:.0%}"))
    return table("draws | result from | 95th percentile, mean | its scatter | a band holds", rows)


def tutorial_truth() -> str:
    """The constants of the tutorial's mirror that its bench does not know."""
    true = runpy.run_path(str(TUTORIAL / "make_readings.py"))["TRUE"]
    bench = wearsim.load_bench(TUTORIAL / "bench.toml")
    lap, at = bench.lap(), f"relaxation time at {bench.lap().pitch_temperature:g} degC [min]"
    rows = [
        ("Preston coefficient [1e-12/Pa]", bench.preston * 1e12, true.preston),
        ("stiffness of the pitch [GPa/m]", lap.stiffness / 1e9, true.stiffness),
        (at, lap.relaxation_time / 60, true.relaxation_time),
        ("edge gain", bench.wear.edge_gain, true.edge_gain),
    ]
    shown = [(name, f"{stated:.3g}", f"{stated * factor:.3g}") for name, stated, factor in rows]
    return table("constant | assumed on the bench | true", shown)
