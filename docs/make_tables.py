"""Tables that are read off the code: keys of the files, defaults with their sources, ready pieces, commands."""

from __future__ import annotations

import inspect
import io
import re
from collections.abc import Callable, Iterable
from contextlib import redirect_stdout
from dataclasses import fields
from pathlib import Path
from typing import Any

import make_draws
import numpy as np
from make_reference import public_names, rooms
from numpydoc.docscrape import NumpyDocString

import wearsim
from wearsim.bench import materials as catalogue
from wearsim.bench.abrasion import EDGE_LENGTH_SOURCE, PRESTON, PRESTON_SOURCE, Spread, Wear
from wearsim.bench.fields import Piece, expected_of, in_file, kind_of, source_of
from wearsim.bench.figure_source import FigureSource, Light
from wearsim.bench.hands import Hands
from wearsim.bench.lap import Lap
from wearsim.bench.mirror import Mirror
from wearsim.bench.programme import KINDS, NEEDED, USELESS, Spell
from wearsim.learn.folder import SessionNote
from wearsim.study.axes import AxisTable, SampleTable
from wearsim.study.plan import StudyTable
from wearsim.wear.accuracy import Accuracy

HERE = Path(__file__).parent
OTHERS = ("validation", "performance", "performance-*", "learning")


# In people's words, where the code's own description speaks to programmers.
MEANS = {
    ("Mirror", "diameter"): "of the glass",
    ("Mirror", "radius_of_curvature"): "at the vertex: twice the focal length",
    ("Mirror", "density"): "instead of the glass's",
    ("Mirror", "mass"): "instead of the one computed from density and thickness; not both",
    ("Lap", "diameter"): "of the pitch; at most 1.2 of the mirror's",
    ("Lap", "pitch_thickness"): "of the layer of pitch",
    ("Lap", "pitch_temperature"): "at which `relaxation_time` holds",
    ("Hands", "push_offset"): "where the hands push, from the top piece's centre: along the stroke, across it",
    ("Spread", "preston"): "one-sigma factor within which the Preston coefficient is known; 1 = exactly",
    ("Spread", "stiffness"): "the same of the lap's stiffness",
    ("Spread", "relaxation_time"): "the same of its relaxation time",
    ("Spread", "edge_gain"): "the same of the edge gain; a gain of 0 stays 0",
    ("FigureSource", "profile"): "a CSV of measured figure error ([](profile.md))",
    ("FigureSource", "readings"): "a file of knife-edge readings ([](readings.md))",
    ("FigureSource", "map"): "a height map on a square grid, for the planar engine ([](profile.md))",
    ("StudyTable", "programme"): "a `programme.toml`; or the study holds its own `[[spell]]` tables",
    ("StudyTable", "keep"): "what is kept of every case, from the table below",
    ("SessionNote", "lap"): "how the lap began; as left unless said, and in a first session as the bench starts it",
    ("AxisTable", "grid"): "exactly one of these three",
    ("AxisTable", "list"): "",
    ("AxisTable", "sample"): "",
    ("SampleTable", "count"): "how many samples of all sampled axes together",
    ("Light", "wavelength"): "that waves and Strehl ratios are counted in",
    ("Spell", "on_top"): "which piece is stroked by hand; the other stands still",
    ("Spell", "stroke"): "the kind of stroke; `press` is cold pressing",
    (
        "Spell",
        "length",
    ): "whole travel of the centre from end to end; a plain number is a fraction of the mirror's diameter",
    ("Spell", "side_sweep"): "half of the side-to-side travel",
    ("Spell", "side_overhang"): "how far to the side the middle of the stroke lies",
    ("Spell", "strokes_per_sweep"): "strokes in one traverse from side to side",
    ("Spell", "turn"): "the mirror is turned by this before the spell",
    ("Spell", "push"): "of the hands, instead of the bench's",
    ("Spell", "lap"): "name of the lap, where the bench has several; the first unless said",
}


def table(head: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    """A Markdown table."""
    head = list(head)
    lines = ["| " + " | ".join(head) + " |", "|" + " --- |" * len(head)]
    return "\n".join([*lines, *("| " + " | ".join(_cell(cell) for cell in row) + " |" for row in rows)])


def _cell(value: object) -> str:
    return " ".join(str(value).replace("|", "\\|").replace("<", "&lt;").split())


def described(kind: type) -> dict[str, str]:
    """What a class says of each of its attributes or parameters."""
    document = NumpyDocString(inspect.getdoc(kind) or "")
    said = {}
    for entry in [*document["Attributes"], *document["Parameters"]]:
        for name in entry.name.split(","):
            said[name.strip()] = " ".join(" ".join(entry.desc).split())
    return said


def keys(kind: type[Piece]) -> str:
    """Every key of a table of a file: what it takes, its default, what it means, where the default is from."""
    said, rows = described(kind), []
    for name, field in kind.model_fields.items():
        if name in ("file", "text", "defaults_used"):
            continue
        source = source_of(field)
        value = "yours" if field.is_required() else "-"
        if source is not None:
            value = f"`{_toml(in_file(field.default, kind_of(field)))}`"
        what = MEANS.get((kind.__name__, name), _plain(said.get(name, "")))
        rows.append((f"`{name}`", expected_of(field) or _takes(field.annotation), value, what, source or ""))
    return table(("key", "takes", "default", "what", "where the default is from"), rows)


def _takes(annotation: Any) -> str:
    """What a key takes whose field does not say it in words."""
    said = str(annotation)
    for mark, words in (("tuple", "a list"), ("int", "a whole number"), ("Path", "the name of a file")):
        if mark in said:
            return words
    return "as shown below" if "Any" in said else "a text"


def _plain(said: str) -> str:
    """A docstring's words without the code's units and references."""
    return (
        re.sub(r"\s*\[[^\]]*\]|:\w+:|``", lambda found: "`" if found[0] == "``" else "", said)
        .replace("None: ", "else ")
        .strip(" ,.")
    )


def _toml(value: Any) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return f'"{value}"' if isinstance(value, str) else str(value)


def computed_defaults() -> str:
    """Defaults that are made of others."""
    return table(
        ("key", "default", "where it is from"),
        [
            ("`wear.preston`", f"{PRESTON:g} / Pa x the factors of glass and abrasive", PRESTON_SOURCE),
            ("`wear.edge_length`", "the lap's `pitch_thickness`", EDGE_LENGTH_SOURCE),
            ("`mirror.density`", "the glass's", "table of glasses below"),
            (
                "`mirror.mass`",
                "density x (pi (a^2 - a_hole^2) thickness - the glass missing above the curve)",
                "derived",
            ),
        ],
    )


def strokes() -> str:
    """Which keys each stroke needs, may have and refuses."""
    sizes = ("length", "side_sweep", "side_overhang", "strokes_per_sweep", "rate", "push")
    rows = [
        (
            f"`{kind}`",
            *("needed" if key in NEEDED[kind] else "refused" if key in USELESS[kind] else "may be" for key in sizes),
        )
        for kind in KINDS
    ]
    return table(("stroke", *(f"`{size}`" for size in sizes)), rows)


def ready_pieces() -> str:
    """Glasses, abrasives and pitches of ``configs/``."""
    parts = ["### Glasses", ""]
    glasses = [(name, catalogue.glass(name)) for name in catalogue.names("glasses")]
    head = ("`mirror.glass`", "density [kg/m^3]", "its source", "wear, borosilicate = 1", "its source")
    rows: list[tuple[object, ...]] = [
        (f"`{n}`", f"{g.density:g}", g.density_source, f"{g.wear:g}", g.wear_source) for n, g in glasses
    ]
    parts += [table(head, rows), "", "### Abrasives", ""]
    abrasives = [(name, catalogue.abrasive(name)) for name in catalogue.names("abrasives")]
    rows = [(f"`{n}`", f"{a.wear:g}", a.wear_source) for n, a in abrasives]
    parts += [table(("`wear.abrasive`", "wear, cerium oxide = 1", "its source"), rows), "", "### Pitches", ""]
    pitches = [(name, catalogue.pitch(name)) for name in catalogue.names("pitches")]
    rows = [
        (f"`{n}`", f"{p.stiffness:g}", f"{p.relaxation_time / 60:g}", f"{p.pitch_temperature:g}", p.source)
        for n, p in pitches
    ]
    head = ("`lap.pitch`", "stiffness [Pa/m]", "relaxes in [min]", "at [degC]", "source")
    parts += [table(head, rows), "", "### Worked benches", ""]
    return "\n".join([*parts, ", ".join(f"`{name}`" for name in catalogue.names("benches")) + "."])


def accuracy() -> str:
    """Every numerical knob."""
    said = described(Accuracy)
    rows = [(f"`{knob.name}`", knob.default, said[knob.name]) for knob in fields(Accuracy)]
    return table(("knob", "default", "what"), rows)


def commands() -> str:
    """Help of every command, as it prints."""
    import typer

    from wearsim.cli.main import app, run

    names = typer.main.get_command(app).commands  # type: ignore[attr-defined]
    parts = []
    for name in names:
        out = io.StringIO()
        with redirect_stdout(out):
            run([name, "--help"])
        parts.append(f"## wearsim {name}\n\n```text\n{out.getvalue().rstrip()}\n```\n")
    return "\n".join(parts)


def measured() -> str:
    """The pages of measurements that this tree has."""
    paths = [path for pattern in OTHERS for path in sorted(HERE.glob(f"{pattern}.md"))]
    found = {path.stem: path for path in paths if path.read_text(encoding="utf-8").strip()}
    if not found:
        return ""
    lines = "\n".join(_entry(path) for path in found.values())
    return f"```{{toctree}}\n:caption: Measured\n:maxdepth: 1\n\n{lines}\n```"


def _entry(path: Path) -> str:
    """A page's line in a list of pages; one that has no title of its own gets its name."""
    if re.search(r"^# ", path.read_text(encoding="utf-8"), re.MULTILINE):
        return path.stem
    return f"{path.stem.replace('-', ': ', 1).replace('-', ' ').capitalize()} <{path.stem}>"


def relaxation() -> str:
    """Relaxation time by squeeze flow of one facet, for a few viscosities."""
    thickness, half, stiffness = 5e-3, 12.5e-3, 5e9
    rows = [
        (
            f"{eta:.1g}",
            f"{2 * thickness**3 / (3 * eta * half**2):.2g}",
            f"{3 * eta * half**2 / (2 * stiffness * thickness**3) / 60:.1f}",
        )
        for eta in (2e8, 7e8, 2e9)
    ]
    head = ("viscosity [Pa s]", "sinks at, per Pa [m/s]", "relaxation time [min], for 5e9 Pa/m")
    return table(head, rows) + "\n\nFacets of 25 mm, pitch 5 mm thick."


def misfit() -> str:
    """How a misfit fades with the default constants, and what the glass gets of it."""
    stiffness, relaxes = Lap.model_fields["stiffness"].default, Lap.model_fields["relaxation_time"].default
    rows = []
    for speed in (0.05, 0.1, 0.2, 0.4):
        glass, pitch = PRESTON * speed * stiffness, 1.0 / relaxes
        rows.append(
            (speed, f"{1 / glass / 60:.0f}", f"{1 / (glass + pitch) / 60:.1f}", f"{glass / (glass + pitch):.0%}")
        )
    head = ("mean speed [m/s]", "glass alone: 1/e in [min]", "both: 1/e in [min]", "share that the glass gets")
    return table(head, rows)


def spheres() -> str:
    """Spheres against their paraboloids at best focus, by exact conics and the pupil integral."""
    from wearsim.figure.conic import Conic, MirrorGeometry
    from wearsim.figure.metrics import figure_numbers

    rows = []
    for inches, ratio in ((6, 8), (8, 8), (8, 6), (10, 6), (12.5, 5)):
        diameter = inches * 0.0254
        radius, curve = np.linspace(0.0, diameter / 2, 200), 2 * ratio * diameter
        target = MirrorGeometry(curve, radius=diameter / 2, clear_radius=diameter / 2)
        numbers = figure_numbers(radius, Conic(curve, 0.0).departure(radius), target, 550e-9)
        rows.append((f"{inches:g} in f/{ratio}", f"{2e9 * numbers.surface_pv:.0f}", f"{numbers.strehl:.3f}"))
    return table(("sphere", "wavefront PV at best focus [nm]", "Strehl ratio, 550 nm"), rows)


def spreads() -> str:
    """The default spreads: what each factor comes to."""
    rows = [(f"`{name}`", *(f"{value:.3g}" for value in values)) for name, *values in make_draws.factors()]
    return table(("constant", "$s$, one sigma", "90 % within", "$m_1$", "$m_2$", "standard deviation of $f$"), rows)


def percentiles() -> str:
    """What stratified draws leave as error of a percentile."""
    rows = []
    for count in (32, 128):
        for kind, inputs in make_draws.KINDS.items():
            middle, error, held = make_draws.scatter(count, inputs)
            rows.append((count, kind, f"{middle:.2f}", f"{error:.2f}", f"{held:.0%}"))
    return table(("draws", "result from", "95th percentile, mean", "its scatter", "a band holds"), rows)


def quantities() -> str:
    """What a study may keep of a case."""
    from wearsim.study.quantities import DEFAULT_KEPT, QUANTITIES, kept_quantities

    rows = [
        (
            f"`{name}`",
            one.unit,
            one.text,
            "yes" if name in kept_quantities(DEFAULT_KEPT, 1) else "",
            "needed" if one.drawn else "",
        )
        for name, one in QUANTITIES.items()
    ]
    return table(("name", "unit", "what", "kept unless said", "`draws`"), rows)


def tutorial_truth() -> str:
    """The constants of the tutorial's mirror that its bench does not know."""
    from make_tutorial import FOLDER, TRUE

    bench = wearsim.load_bench(FOLDER / "bench.toml")
    lap = bench.lap()
    rows = [
        ("Preston coefficient [1e-12/Pa]", bench.preston * 1e12, TRUE.preston),
        ("stiffness of the pitch [GPa/m]", lap.stiffness / 1e9, TRUE.stiffness),
        (f"relaxation time at {lap.pitch_temperature:g} degC [min]", lap.relaxation_time / 60, TRUE.relaxation_time),
        ("edge gain", bench.wear.edge_gain, TRUE.edge_gain),
    ]
    shown = [(name, f"{stated:.3g}", f"{stated * factor:.3g}") for name, stated, factor in rows]
    return table(("constant", "the bench believed", "true"), shown)


TABLES: dict[str, Callable[[], str]] = {
    "mirror": lambda: keys(Mirror), "lap": lambda: keys(Lap), "hands": lambda: keys(Hands),
    "wear": lambda: keys(Wear), "spread": lambda: keys(Spread), "figure": lambda: keys(FigureSource),
    "light": lambda: keys(Light), "spell": lambda: keys(Spell), "computed-defaults": computed_defaults,
    "strokes": strokes, "ready-pieces": ready_pieces, "accuracy": accuracy, "commands": commands,
    "public-names": public_names, "rooms": rooms, "session": lambda: keys(SessionNote), "study": lambda: keys(StudyTable),
    "axis": lambda: keys(AxisTable), "sample": lambda: keys(SampleTable), "quantities": quantities,
    "tutorial-truth": tutorial_truth, "relaxation": relaxation, "misfit": misfit, "spheres": spheres, "measured": measured,
    "spreads": spreads, "percentiles": percentiles,
}  # fmt: skip
