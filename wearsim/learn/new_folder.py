"""A mirror's folder to begin with: a bench with a comment on every line, and a sheet of readings to fill in."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from wearsim.bench import units
from wearsim.bench.bench import Bench
from wearsim.bench.fields import DefaultUsed
from wearsim.bench.input_errors import parse_toml
from wearsim.bench.personal_units import room_temperature, temperature_words, value_in_units_of
from wearsim.bench.toml_io import bench_from_table, bench_table
from wearsim.bench.units import in_units_of, length_unit, mass_unit
from wearsim.errors import CouldNotError, InputError
from wearsim.knifeedge.mask import MaskDesign, MaskLimits, design_mask

COLUMNS, INDENT = 80, "    "
BENCH, READINGS = "bench.toml", "readings.toml"
ZONES = 5
TARGETS = {"paraboloid": -1.0, "parabola": -1.0, "parabolic": -1.0, "sphere": 0.0, "spherical": 0.0}
NO_FACETS = ("none", "no", "0")


@dataclass(frozen=True)
class Answers:
    """What a new bench is made of: texts with units, as a person gives them.

    Parameters
    ----------
    diameter : str
        Of the mirror.
    focal_ratio : float
        Focal length over diameter [1].
    lap_diameter : str, optional
        The mirror's where not given.
    glass, thickness, pitch, push, temperature, abrasive, rim_excluded, target, facet : str, optional
        Left to wearsim's default where not given. The target is a conic constant, or ``paraboloid`` or ``sphere``; the facet
        the side of one, or ``none``.
    surface_unit : str, optional
        In which heights of the surface are to be read on this bench.
    """

    diameter: str
    focal_ratio: float
    lap_mass: str
    lap_diameter: str | None = None
    glass: str | None = None
    thickness: str | None = None
    pitch: str | None = None
    push: str | None = None
    temperature: str | None = None
    abrasive: str | None = None
    rim_excluded: str | None = None
    target: str | None = None
    facet: str | None = None
    surface_unit: str | None = None

    @property
    def in_inches(self) -> bool:
        """Whether the person gives lengths in inches."""
        return is_in_inches(self.diameter)

    def complete(self) -> Answers:
        """The same, plain numbers with the unit that goes with the diameter's, marks of inches written out."""
        whole: dict[str, Any] = {}
        for question in QUESTIONS:
            text = getattr(self, question.key)
            if text is not None and question.key not in ("diameter", "focal_ratio"):
                whole[question.key] = question.complete(str(text), self.in_inches)
        return replace(self, diameter=units.without_marks(self.diameter), **whole)


@dataclass(frozen=True)
class Question:
    """One question about a new mirror.

    Parameters
    ----------
    key : str
        Of :class:`Answers`.
    words, why, usual : str
        What is asked; why, and what is taken where nothing is answered.
    plain : str
        Unit of a plain number in inches, and in millimetres: "in mm".
    choices : str
        Which catalogue answers it.
    taken : (str, str)
        What is offered to who works in inches, and in millimetres.
    """

    key: str
    words: str
    why: str
    usual: str = ""
    plain: str = ""
    choices: str = ""
    taken: tuple[str, str] = ("", "")

    def complete(self, text: str, in_inches: bool) -> str:
        """An answer, a plain number with its unit, marks of inches and feet written out.

        InputError for a plain number that is a room's temperature in another unit only.
        """
        text = units.without_marks(text.strip())
        if not self.plain:
            return text
        unit = self.plain.split()[not in_inches]
        if self.key == "temperature":
            return room_temperature(_with_point(text), unit)
        return units.with_unit(_with_point(text), "m", unit)


def _with_point(text: str) -> str:
    """A number with a decimal comma as one with a point; all else as it is."""
    plain = text.replace(",", ".", 1)
    return plain if text.count(",") == 1 and plain.replace(".", "", 1).isdecimal() else text


PITCH_TEST = (
    "Each grade is named for the room it suits: very-soft 14 C (57 F), soft 17 C (63 F), medium 20 C (68 F), hard 23 C "
    "(73 F), very-hard 27 C (81 F). In your room, a thumbnail pressed on the pitch for ten seconds should just leave a "
    "mark; a deep dent means a softer grade, none at all a harder one (common practice, no source)."
)
QUESTIONS = (
    Question("diameter", "Diameter of the mirror", "From edge to edge of the glass: 200 mm, 8 in, 8\".", plain="in mm"),
    Question("focal_ratio", "Focal ratio", "Focal length over diameter: 6 or f/6."),
    Question(
        "target", "Target", "paraboloid, sphere, or a conic constant such as -0.8.", "paraboloid",
        taken=("paraboloid", "paraboloid"),
    ),
    Question(
        "thickness", "Thickness at the edge", "Sets its weight and how long it takes to cool.", "38 mm, 1 1/2 in", "in mm",
        taken=("1 1/2 in", "38 mm"),
    ),
    Question(
        "rim_excluded", "Width of the rim to ignore", "The bevel, or an edge to be masked; not counted in the results.",
        "2 mm (0.08 in)", "in mm", taken=("0.08 in", "2 mm"),
    ),
    Question(
        "glass", "Glass", "Sets its density and how fast it wears.", "borosilicate, the usual", choices="glasses",
        taken=("borosilicate", "borosilicate"),
    ),
    Question(
        "lap_diameter", "Diameter of the pitch", "Measured across the pitch that touches the glass, not across the disc.",
        "the same as the mirror's", "in mm",
    ),
    Question(
        "lap_mass", "Weight of the whole tool", "Weigh it: plaster and wood are lighter than glass.",
        "as a disc of the mirror's glass", "lb kg",
    ),
    Question(
        "facet", "Side of one facet", "Between two channels, across the flats; \"none\" for a lap without channels.",
        "25 mm (1 in)", "in mm", taken=("1 in", "25 mm"),
    ),
    Question(
        "pitch", "Pitch", PITCH_TEST, "medium", choices="pitches",
        taken=("medium", "medium"),
    ),
    Question(
        "abrasive", "Abrasive", "Sets how fast the glass wears.", "cerium-oxide", choices="abrasives",
        taken=("cerium-oxide", "cerium-oxide"),
    ),
    Question(
        "temperature", "Temperature of the room", "Sets how fast pitch flows: 20 C, 68 F.", "20 C (68 F)", "degF degC",
        taken=("68 degF", "20 degC"),
    ),
    Question(
        "push", "Push of the hands", "Downward, in addition to the weight: 30 N, 7 lb. Try it on scales.",
        "30 N (7 lb, 3 kg)", "lbf N", taken=("7 lbf", "30 N"),
    ),
)  # fmt: skip


NEEDED = ("diameter", "focal_ratio", "thickness", "glass")
"""Questions that are asked at once where all are seen together; the rest can stay at their defaults."""
OFTEN_WRONG = ("lap_mass", "temperature")
"""Those asked first among the rest: their defaults are most often wrong (judgement)."""


def questions_on_a_sheet() -> tuple[list[Question], list[Question]]:
    """Those that are asked at once, and the rest, in the order in which they are asked."""
    needed = [question for question in QUESTIONS if question.key in NEEDED]
    rest = [question for question in QUESTIONS if question.key not in NEEDED]
    return needed, sorted(rest, key=lambda question: question.key not in OFTEN_WRONG)


def given_answers(texts: Mapping[str, str]) -> dict[str, str]:
    """Answers by their questions' keys, with the unit of plain numbers ("unit": "in" or "mm") written out.

    Those left open are not there.
    """
    texts = {key: text.strip() for key, text in texts.items()}
    return {
        question.key: question.complete(texts[question.key], texts["unit"] == "in")
        for question in QUESTIONS
        if texts.get(question.key)
    }


def typed_answers(texts: Mapping[str, str]) -> dict[str, Any]:
    """All that was typed of a mirror whose folder has a name: :func:`given_answers` and the unit of heights.

    Raises
    ------
    CouldNotError
        Where an answer is still missing, or the name.
    """
    given = given_answers(texts)
    missing = [question.words.lower() for question in QUESTIONS if not question.usual and question.key not in given]
    missing += [] if texts.get("name", "").strip() else ["name of the folder"]
    if missing:
        raise CouldNotError(f"still to be answered: {', '.join(missing)}")
    return {**given, "surface_unit": texts.get("surface_unit") or None}


def defaults_said(bench: Bench) -> list[str]:
    """What was left to defaults, a sentence or two each."""
    words = ((used.key.replace(".", ", ").replace("_", " "), used) for used in bench.defaults_used)
    return [f"{name}: {used.value}. {used.why[:1].upper()}{used.why[1:]}." for name, used in words]


@dataclass(frozen=True, eq=False)
class FreshFolder:
    """The two texts, and what they were made with.

    Parameters
    ----------
    bench : Bench
        With a perfect figure in place of the readings that are still to come.
    mask : MaskDesign
        Whose windows are in the sheet of readings.
    """

    bench: Bench
    mask: MaskDesign
    bench_text: str
    readings_text: str

    def files(self, folder: Path) -> Mapping[Path, str]:
        """What is to be written where."""
        return {folder / BENCH: self.bench_text, folder / READINGS: self.readings_text}


def fresh_folder(answers: Answers, zones: int | None = None) -> FreshFolder:
    """Texts of a mirror's folder to begin with.

    Parameters
    ----------
    zones : int, optional
        Windows of the mask; 5, or as many as the mirror has room for, where not given.

    Raises
    ------
    InputError
        Where no bench can be made of the answers, or no mask of so many windows.
    """
    answers = answers.complete()
    lines = answered_rows(answers)
    bare = "\n".join(f"[{table}]\n" + "\n".join(f"{k} = {v}" for k, v, _ in rows) for table, rows in lines.items())
    table = parse_toml(bare, None)
    bench = bench_from_table({**table, "figure": {"conic": -1.0}}, text=bare)
    mask = _mask(bench, zones)
    return FreshFolder(bench, mask, _bench_text(answers, lines, bench), _readings_text(answers, mask))


def answers_from(given: Mapping[str, Any]) -> Answers:
    """Answers by their questions' keys as :class:`Answers`; the weight of the tool may be left open."""
    return Answers(**{"lap_mass": "", **given, "focal_ratio": focal_ratio(given["focal_ratio"])})


def with_weight(answers: Answers) -> Answers:
    """Answers with a tool as heavy as a disc of the mirror's glass, as thick as the mirror, where no weight is given."""
    if answers.lap_mass:
        return answers
    answers = answers.complete()
    bench = fresh_folder(replace(answers, lap_mass="2 kg")).bench
    share = (bench.laps[0].radius / bench.mirror.radius) ** 2
    return replace(answers, lap_mass=weight_words(bench, share * bench.mirror.piece_mass))


def offered(answers: Answers, question: Question) -> str | None:
    """What a question offers to whoever presses Enter, in the unit of the diameter; None where an answer is needed."""
    if question.key == "lap_diameter":
        return units.without_marks(answers.diameter)
    if question.key == "lap_mass":
        return with_weight(replace(answers, lap_mass="")).lap_mass
    return question.taken[not answers.in_inches] or None


def weights_text(bench: Bench) -> str:
    """What the pieces weigh, as a person reads it before a folder is made or after."""
    glass, tool = (weight_words(bench, mass) for mass in (bench.mirror.piece_mass, bench.laps[0].mass))
    return f"From its dimensions the mirror weighs about {glass}; the tool is taken as {tool}. Weigh both."


def taken_text(bench: Bench) -> str:
    """What matters most of a new bench, whether it was answered or left to its default, in one line."""
    lap, wear = bench.laps[0], bench.wear
    abrasive, across = wear.abrasive.replace("-", " "), length_unit(bench).short(2.0 * lap.radius)
    warmth = temperature_words(wear.temperature, bench)
    return f"Taken: {bench.mirror.glass}, {abrasive}, {lap.pitch or 'medium'} pitch, {warmth}, lap {across}."


def weight_words(bench: Bench, mass: float) -> str:
    """A mass [kg] in pounds where the bench is in inches, in kilograms elsewhere."""
    name, size = mass_unit(bench.text)
    return f"{mass / size:.3g} {name}"


def _mask(bench: Bench, zones: int | None) -> MaskDesign:
    geometry, wavelength = bench.mirror.geometry, bench.light.wavelength
    if zones is not None:
        return design_mask(zones, geometry, wavelength, limits=MaskLimits(unit=length_unit(bench)))
    for count in range(ZONES, 3, -1):
        with suppress(InputError):
            return design_mask(count, geometry, wavelength)
    return design_mask(3, geometry, wavelength)


def focal_ratio(text: str) -> float:
    """A focal ratio from a plain number, or one behind ``f/``; InputError where it is neither."""
    try:
        return float(text.strip().lower().removeprefix("f").strip().removeprefix("/"))
    except ValueError:
        raise InputError(
            "not a focal ratio", key="focal ratio", value=text, expected="a plain number such as 6, or f/6"
        ) from None


def radius_of_curvature(diameter: str, focal_ratio: float) -> str:
    """Twice the focal length, in the unit of the diameter; InputError where one of the two is no such thing."""
    if not 0.5 < focal_ratio < 1000.0:
        raise InputError(
            "not a mirror's focal ratio", key="focal ratio", value=focal_ratio, expected="a number such as 6"
        )
    metres = length_of(diameter, "diameter")
    unit = units.split(diameter, "m")[1]
    return f"{2.0 * focal_ratio * metres / units.read(f'1 {unit}', 'm'):.10g} {unit}"


def length_of(text: str, what: str) -> float:
    """A length in metres; an InputError names ``what``."""
    try:
        metres = units.read(text, "m")
    except units.NotAQuantity as error:
        raise InputError(str(error), key=what, value=text, expected='a length such as "200 mm" or "8 in"') from error
    if not metres > 0.0:
        raise InputError("too small", key=what, value=text, expected="a length above 0")
    return metres


def is_in_inches(text: str) -> bool:
    """Whether a person gave this length in inches or feet."""
    return units.is_in_inches(text)


Rows = dict[str, list[tuple[str, str, str]]]


def answered_rows(answers: Answers) -> Rows:
    """Key, TOML value and comment of every line that a person answered, by table."""
    curve = radius_of_curvature(answers.diameter, answers.focal_ratio)
    rows: Rows = {
        "mirror": [
            ("diameter", _quoted(answers.diameter), "of the glass"),
            ("radius_of_curvature", _quoted(curve), f"twice the focal length, f/{answers.focal_ratio:g}"),
            ("conic", repr(conic_of(answers.target)), "the target: -1 a paraboloid, 0 a sphere"),
        ],
        "lap": [
            (
                "diameter",
                _quoted(answers.lap_diameter or answers.diameter),
                "of the pitch that touches the glass, not of the disc",
            ),
            ("mass", _quoted(answers.lap_mass), "of the whole tool: weigh it"),
        ],
    }
    for table, key, value, comment in (
        ("mirror", "glass", answers.glass, "sets its density and how fast it wears"),
        ("mirror", "thickness", answers.thickness, "at the edge"),
        ("mirror", "rim_excluded", answers.rim_excluded, "the bevel, or a masked edge: not counted in the results"),
        ("lap", "pitch", answers.pitch, "sets its stiffness and relaxation time"),
        (
            "lap",
            "facet_shape" if answers.facet in NO_FACETS else "facet",
            _facet(answers.facet),
            "between two channels",
        ),
        ("hands", "push", answers.push, "downward, in addition to the weight of the top piece"),
        ("wear", "temperature", answers.temperature, "of the room"),
        ("wear", "abrasive", answers.abrasive, "sets how fast the glass wears"),
        ("light", "surface_unit", answers.surface_unit, "for heights: nm, waves, or millionths of an inch"),
    ):
        if value is not None:
            rows.setdefault(table, []).append((key, _quoted(value), comment))
    return rows


def _facet(facet: str | None) -> str | None:
    return "none" if facet in NO_FACETS else facet


def conic_of(target: str | None) -> float:
    """The conic constant of a target, a paraboloid where nothing is said [1]; InputError where it is no such thing."""
    text = (target or "paraboloid").strip().lower()
    try:
        return TARGETS[text] if text in TARGETS else float(text)
    except ValueError:
        expected = "paraboloid, sphere, or a conic constant such as -0.8"
        raise InputError("not a target", key="target", value=target, expected=expected) from None


def _quoted(text: str) -> str:
    if not text.isprintable() or '"' in text or "\\" in text:
        raise InputError("cannot be written in a bench", value=text, expected='a text such as "200 mm" or "8 in"')
    return f'"{text.strip()}"'


def _bench_text(answers: Answers, rows: Rows, bench: Bench) -> str:
    lines = [
        "# The bench of one mirror: both pieces, the hands, and the present figure.",
        "# Written by wearsim new. Lines that begin with # are defaults, each with its",
        "# source; remove the # to give your own value. Every quantity has its unit:",
        "# millimetres or inches, kilograms or pounds, as you have them. What each key",
        "# means, and what it may be: docs/files/bench.md. Where a default comes from:",
        "# judgement: our own estimate; [read]: seen in the source; [memory]: quoted",
        "# from memory; [derived]: calculated.",
        *(["# The defaults are in inches and pounds, rounded."] if is_in_inches(answers.diameter) else []),
    ]
    for table in ("mirror", "lap", "hands", "wear", "spread", *(["light"] if "light" in rows else [])):
        lines += ["", f"[{table}]"]
        lines += [commented(f"{key} = {value}", comment) for key, value, comment in rows.get(table, [])]
        lines += [_left_out(used, bench) for used in bench.defaults_used if used.key.startswith(f"{table}.")]
    lines += [
        "",
        "[figure]",
        commented(f"readings = {_quoted(READINGS)}", "the present figure: fill them in, then run wearsim reduce"),
    ]
    return "\n".join(lines) + "\n"


def _left_out(used: DefaultUsed, bench: Bench) -> str:
    """A default as a line that a person can take the # away from."""
    table, _, key = used.key.partition(".")
    value: Any = bench_table(bench)[table].get(key, used.value)
    if isinstance(value, list):
        shown = "[" + ", ".join(f'"{in_units_of(bench, item)}"' for item in value) + "]"
    else:
        shown = f'"{value_in_units_of(bench, value)}"' if isinstance(value, str) else f"{value!r}"
    return commented(f"# {key} = {shown}", used.why)


def commented(line: str, comment: str) -> str:
    """A line of a bench with its comment beside it, in lines that a terminal has room for."""
    first, then = f"{line:<32} # ", " " * 33 + "# "
    return textwrap.fill(
        comment, COLUMNS, initial_indent=first, subsequent_indent=then, break_on_hyphens=False, break_long_words=False
    )


def _wrapped(pairs: Iterable[str]) -> str:
    """Windows in lines that a terminal has room for."""
    return textwrap.fill(
        "\t".join(pairs).replace(" ", "\0").replace("\t", " "), COLUMNS, initial_indent=INDENT, subsequent_indent=INDENT
    ).replace("\0", " ")


def _readings_text(answers: Answers, mask: MaskDesign) -> str:
    inches = is_in_inches(answers.diameter)
    size, digits = (0.0254, 3) if inches else (1e-3, 1)
    pairs = zip(mask.zones.inner / size, mask.zones.outer / size, strict=True)
    windows = _wrapped(f"[{inner:.{digits}f}, {outer:.{digits}f}]," for inner, outer in pairs)
    blank = ", ".join("    " for _ in range(len(mask.zones)))
    return f"""\
# Knife-edge readings, to fill in. One row per repeat, one number per window,
# from the middle outwards: the position of the knife when that window darkens
# evenly. Larger = farther from the mirror. The zero is arbitrary. Let the glass
# cool to the room's temperature first, and read every window several times.

source = "moving"                 # with the knife; or "fixed"
length_unit = "{"in" if inches else "mm"}"                # of the windows and of the knife positions
# The windows that wearsim mask --zones {len(mask.zones)} draws for this mirror; if you have
# another mask, give its windows instead.
windows = [
{windows}
]
readings = [
#   [{blank}],
#   [{blank}],
#   [{blank}],
]
"""
