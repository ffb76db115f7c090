"""Everything that the page asks of the rest of wearsim, in one place: plain data in, plain data out.

The functions run in a process of their own (:mod:`wearsim.page.worker`), so arguments and answers can be pickled. A
picture is a data address of what :mod:`wearsim.show` draws, a table the text that the command prints.
"""

from __future__ import annotations

import io
import re
import tempfile
from base64 import b64encode
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wearsim.errors import InputError, WearsimError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from wearsim.bench.bench import Bench
    from wearsim.bench.programme import Programme
    from wearsim.bench.units import LengthUnit
    from wearsim.decide.proposal import Proposal
    from wearsim.learn.mirror_folder import MirrorFolder
    from wearsim.wear.outcome import Outcome

PROGRAMME, CARD = "programme.toml", "card.pdf"
DOTS = 144
"""Of a picture, an inch."""
HEAVY = 20.0
"""From here on two people lift [kg] (common practice, no source)."""


def warm_up() -> bool:
    """Load what the answers need, and compile it where that was never done; whether it had to be compiled."""
    from wearsim.bench.toml_io import load_bench, programme_from_table
    from wearsim.kernels._jit import is_compiled
    from wearsim.knifeedge.reduction import reduce_readings
    from wearsim.show.reduction import reduction_figure
    from wearsim.wear.expected_readings import usual_sheet
    from wearsim.wear.predict import predict

    was = is_compiled()
    bench = load_bench("raised-zone-300")
    spell = {"stroke": "one-third", "minutes": 1.0}
    outcome_picture(bench, predict(bench, programme_from_table({"spell": [spell]}), draws=0))
    sheet = usual_sheet(bench)
    if sheet is not None:
        picture_of(reduction_figure(reduce_readings(sheet, bench.mirror.geometry, bench.light.wavelength)))
    return not was


def is_compiled() -> bool:
    """Whether the kernels were compiled on this machine before."""
    from wearsim.kernels import _jit

    return _jit.is_compiled()


# --- the folder


@dataclass(frozen=True)
class About:
    """A mirror's folder in short.

    Parameters
    ----------
    name, title : str
        Of the folder; the mirror in words.
    sessions : int
    fault : str
        Why it cannot be used; empty where it can.
    is_practice : bool
    diameter : float
        Of the mirror [m].
    unit : LengthUnit or None
        Of sizes of strokes.
    """

    name: str
    title: str = ""
    sessions: int = 0
    fault: str = ""
    is_practice: bool = False
    diameter: float = 0.0
    unit: LengthUnit | None = None

    def share(self, of: float) -> str:
        """A size given as a share of the mirror's diameter, in the person's unit and as it is."""
        size = "" if self.unit is None else f"{self.unit.short(of * self.diameter)}, "
        return f"{size}{of:.2f} of the diameter"


def about(path: Path) -> About:
    """A folder that has a bench in it, in short."""
    from wearsim.bench.units import stroke_unit
    from wearsim.learn.mirror_folder import open_folder

    try:
        folder = open_folder(path)
    except WearsimError as error:
        return About(path.name, fault=str(error))
    bench = folder.bench
    return About(
        path.name, title_of(bench), len(folder.sessions), "", folder.is_practice, bench.mirror.diameter, stroke_unit(bench)
    )


def title_of(bench: Bench) -> str:
    """A mirror in words."""
    from wearsim.bench.units import length_unit

    mirror = bench.mirror
    ratio = mirror.radius_of_curvature / (2.0 * mirror.diameter)
    return f"{length_unit(bench).short(mirror.diameter)} mirror, f/{ratio:.2g}"


@dataclass(frozen=True)
class Windows:
    """The windows of a sheet of readings, for fields to type into.

    Parameters
    ----------
    names : tuple of str
        From rim to rim of each window, in the sheet's unit.
    shares : tuple of (float, float)
        The same as shares of the mirror's radius [1].
    unit, source, file : str
    rows : tuple of tuple of str
        What the sheet holds.
    digest : str
        Of the sheet's text.
    """

    names: tuple[str, ...]
    shares: tuple[tuple[float, float], ...]
    unit: str
    source: str
    file: Path
    rows: tuple[tuple[str, ...], ...]
    digest: str


def present_sheet(folder: MirrorFolder) -> Path | None:
    """The sheet that says where the glass is now; None where it was measured otherwise."""
    return folder.bench_after().figure.readings


def sheet_of(path: Path) -> Windows | None:
    """The windows and rows of a folder's newest sheet, or of its first where no newer one is a sheet."""
    from wearsim.learn.mirror_folder import open_folder

    folder = open_folder(path)
    sheets = [folder.bench.figure.readings, *(session.figure.readings for session in folder.sessions)]
    file = next((sheet for sheet in reversed(sheets) if sheet is not None), None)
    return None if file is None else windows_of(folder.bench, file, rows=file == present_sheet(folder))


def windows_of(bench: Bench, file: Path, rows: bool = True) -> Windows:
    """Of a sheet that may have no readings yet."""
    from wearsim.bench.input_errors import parse_toml, read_text
    from wearsim.bench.units import LengthUnit
    from wearsim.knifeedge.readings import parse_readings
    from wearsim.show.expected_readings import zone_name
    from wearsim.wear.outcome_file import digest

    text = read_text(file, "a sheet of readings")
    table = parse_toml(text, file)
    count = len(table.get("windows", table.get("radius", ())))
    blank = parse_readings(_with_rows(text, [["0"] * count]), file)
    radius, unit = bench.mirror.radius, LengthUnit(blank.length_unit, blank.unit, 2 if blank.unit > 0.01 else 1)
    pairs = list(zip(blank.zones.inner, blank.zones.outer, strict=True))
    written = tuple(tuple(f"{number:.10g}" for number in row) for row in table.get("readings", ())) if rows else ()
    return Windows(
        tuple(zone_name(inner, outer, unit).replace(" - ", "\u2013") for inner, outer in pairs),
        tuple((float(inner / radius), float(outer / radius)) for inner, outer in pairs),
        blank.length_unit, blank.source, file, written, digest(text),
    )  # fmt: skip


def sheet_text(file: Path, rows: list[list[str]], source: str = "") -> str:
    """A sheet's text with these rows in place of its own, everything else as it is."""
    text = _with_rows(file.read_text(encoding="utf-8"), rows)
    return re.sub(r'(?m)^(source\s*=\s*)"\w*"', rf'\1"{source}"', text) if source in ("moving", "fixed") else text


def _with_rows(text: str, rows: list[list[str]]) -> str:
    """The sheet with other rows under ``readings``; whatever is no number is refused when it is read."""
    lines = "".join(f"    [{', '.join(_number(cell) for cell in row)}],\n" for row in rows)
    block = f"readings = [\n{lines}]\n"
    kept = re.sub(r"(?ms)^readings\s*=\s*\[(?:#[^\n]*|[^#\[\]]|\[[^\[\]]*\])*\]\n?", "", text)
    return f"{kept.rstrip()}\n{block}"


def _number(cell: str) -> str:
    """A typed number as TOML has it: 1,25 and .5 and 3. are what people write."""
    text = cell.strip().replace(",", ".")
    try:
        return repr(float(text))
    except ValueError:
        return f'"{re.sub(r"[^ -~]", "?", text).replace(chr(34), "?").replace(chr(92), "?")}"'


def write_sheet(path: Path, rows: list[list[str]], source: str, made_from: str) -> str:
    """Write readings into the folder's present sheet; the digest of what is there then.

    Raises
    ------
    InputError
        Where the file was changed by somebody else meanwhile, or a reading cannot be used.
    """
    from wearsim.bench.input_errors import read_text
    from wearsim.knifeedge.readings import check_against_mirror, parse_readings
    from wearsim.learn.mirror_folder import open_folder
    from wearsim.wear.outcome_file import digest, whole_file

    folder = open_folder(path)
    file = present_sheet(folder)
    if file is None or digest(read_text(file)) != made_from:
        raise InputError("changed by another program meanwhile", file=file, expected="look at what it holds and go on")
    text = sheet_text(file, rows, source)
    if rows:
        check_against_mirror(parse_readings(text, file), folder.bench.mirror.geometry)
    with whole_file(file, force=True) as part:
        part.write_text(text, encoding="utf-8")
    return digest(text)


# --- a new mirror


def fresh(answers: dict[str, Any], zones: int | None = None) -> dict[str, Any]:
    """What a folder made of these answers would hold: texts of its files, what was left to defaults and why, weights."""
    from wearsim.bench.units import POUND, length_unit
    from wearsim.learn.new_folder import Answers, focal_ratio, fresh_folder
    from wearsim.show.notices import waiting_text

    made = fresh_folder(Answers(**{**answers, "focal_ratio": focal_ratio(answers["focal_ratio"])}), zones)
    bench, kilograms = made.bench, made.bench.mirror.piece_mass
    inches = length_unit(bench).name == "in"
    return {
        "title": title_of(bench),
        "files": {file.name: text for file, text in made.files(Path()).items()},
        "glass": f"{kilograms / POUND:.3g} lb" if inches else f"{kilograms:.3g} kg",
        "is_heavy": kilograms > HEAVY,
        "defaults": [tuple(used) for used in bench.defaults_used],
        "waiting": waiting_text(bench.mirror),
        "windows": len(made.mask.zones),
    }


def create(path: Path, files: dict[str, str]) -> None:
    """Make the folder, whole or not at all."""
    from wearsim.learn.mirror_folder import BENCH
    from wearsim.learn.record import create_folder

    create_folder(path, files[BENCH], {name: text for name, text in files.items() if name != BENCH})


# --- readings


def surface(path: Path, file: Path, rows: list[list[str]], source: str) -> dict[str, Any]:
    """The surface that rows of readings say, with its band, and which readings are far from the others."""
    from wearsim.bench.units import length_unit, round_unit
    from wearsim.knifeedge.reduction import reduce_readings
    from wearsim.knifeedge.stopping import when_to_stop
    from wearsim.show.reduction import reduction_figure, reduction_text

    bench, sheet = _read(path, file, rows, source)
    reduction = reduce_readings(sheet, bench.mirror.geometry, bench.light.wavelength)
    unit = length_unit(bench)
    advice = when_to_stop(reduction, length=round_unit(unit).text)
    return {
        "picture": picture_of(reduction_figure(reduction, unit)),
        "text": reduction_text(sheet, reduction, advice, unit),
        "advice": advice.reason[0].upper() + advice.reason[1:] + ".",
        "verdict": advice.verdict,
        "rms": _rms(reduction),
        "slips": [line for line in reduction.warnings],
    }


def _rms(reduction: Any) -> str:
    from wearsim.show.numbers import height_unit

    high = height_unit(reduction.surface_pv)
    return f"{high.number(reduction.surface_rms)} \u00b1 {high.text(reduction.surface_rms_sigma)}"


def slips(path: Path, file: Path, rows: list[list[str]], source: str) -> dict[tuple[int, int], str]:
    """Readings that are no number or far from the others, by row and window, in words; rows need not be whole.

    Of rows that are not whole yet, the windows that all of them have are compared.
    """
    from wearsim.knifeedge.longitudinal import Zones
    from wearsim.knifeedge.readings import LEAST_ZONES, check_against_mirror, parse_readings
    from wearsim.knifeedge.reduction import reduce_readings

    found = {
        (i, j): "not a number" for i, row in enumerate(rows) for j, cell in enumerate(row)
        if cell.strip() and _number(cell).startswith('"')
    }  # fmt: skip
    shared = [j for j in range(len(rows[0]))] if rows else []
    shared = [j for j in shared if all(row[j].strip() and (i, j) not in found for i, row in enumerate(rows))]
    if len(shared) < LEAST_ZONES:
        return found
    bench = _bench(path)
    try:
        whole = parse_readings(sheet_text(file, [[row[j] if j in shared else "0" for j in range(len(row))] for row in rows]))
        zones = Zones(whole.zones.inner[shared], whole.zones.outer[shared])
        part = replace(whole, zones=zones, positions=whole.positions[:, shared], sigma=None)
        check_against_mirror(part, bench.mirror.geometry)
        lines = list(reduce_readings(part, bench.mirror.geometry, bench.light.wavelength).warnings)
    except InputError as error:
        lines = [f"{error.key}: {error.message}"]
    for line in lines:
        place = re.match(r"readings, rows? (\d+)(?: and (\d+))?, zone (\d+): (.*)", line)
        if place:
            for row in filter(None, place.group(1, 2)):
                found[int(row) - 1, shared[int(place.group(3)) - 1]] = place.group(4)
    return found


def shadows(path: Path, file: Path, rows: list[list[str]], source: str) -> str:
    """What the tester should show of it."""
    from wearsim.knifeedge.reduction import reduce_readings
    from wearsim.show.shadows import measured_shadows

    bench, sheet = _read(path, file, rows, source)
    return picture_of(measured_shadows(bench, sheet, reduce_readings(sheet, bench.mirror.geometry, bench.light.wavelength)))


def _bench(path: Path) -> Bench:
    from wearsim.bench.toml_io import load_bench

    return load_bench(path / "bench.toml")


def _read(path: Path, file: Path, rows: list[list[str]], source: str) -> Any:
    from wearsim.knifeedge.readings import check_against_mirror, parse_readings

    bench = _bench(path)
    sheet = parse_readings(sheet_text(file, rows, source), file)
    check_against_mirror(sheet, bench.mirror.geometry)
    return bench, sheet


# --- what next


def _calibrated(path: Path) -> tuple[Bench, dict[str, Any]]:
    """The mirror as it is now, with what its sessions show; calibrated first where that was not done."""
    from wearsim.learn.cache import recall_or_calibrate
    from wearsim.learn.mirror_folder import open_folder
    from wearsim.learn.present_state import present_state

    folder = open_folder(path)
    state = present_state(folder, recall_or_calibrate(folder))
    return state.bench, state.arguments


def picture_of(figure: Figure) -> str:
    """A figure as the address of a picture, to stand in a page."""
    from wearsim.show.style import plot_style

    stream = io.BytesIO()
    with plot_style():
        figure.savefig(stream, format="png", dpi=DOTS)
    return "data:image/png;base64," + b64encode(stream.getvalue()).decode("ascii")


def outcome_picture(bench: Bench, outcome: Outcome) -> str:
    """Surface before and after and what is removed, narrow enough for a hand's screen."""
    from wearsim.bench.units import length_unit
    from wearsim.show.outcome import unit_for
    from wearsim.show.profiles import draw_profiles
    from wearsim.show.style import new_figure, plot_style

    with plot_style():
        figure = new_figure(5.4, 5.2)
        draw_profiles(figure, bench.mirror, outcome, "", length_unit(bench), unit_for(outcome))
    return picture_of(figure)


@lru_cache(maxsize=4)
def _known_as(path: Path, files: tuple[Any, ...]) -> tuple[Bench, dict[str, Any]]:
    return _calibrated(path)


def _known(path: Path) -> tuple[Bench, dict[str, Any]]:
    """The mirror as it is now, with what its sessions show; read again where a file of the folder was changed."""
    files = (file for file in sorted(path.rglob("*.[tc]*")) if file.name not in (PROGRAMME, CARD))
    return _known_as(path, tuple((file, file.stat().st_mtime_ns, file.stat().st_size) for file in files))


def programme_of(text: str, bench: Bench) -> Programme:
    """A programme from its TOML, checked on a bench."""
    from wearsim.bench.input_errors import parse_toml
    from wearsim.bench.toml_io import programme_from_table

    return programme_from_table(parse_toml(text, None), text=text).check_on(bench)


def choices(path: Path, limits: dict[str, Any], *, progress: Any) -> None:
    """Look for what to do next, the best first, then simpler ones beside it; each is reported when it is there.

    Parameters
    ----------
    limits : dict
        ``minutes``, ``spells``, ``on_top``, as for :class:`wearsim.decide.limits.Limits`.
    progress : callable
        Takes ``"stage", name, best RMS in words`` and ``"choice", dict``.
    """
    from wearsim.bench.units import decimal
    from wearsim.decide.limits import Limits
    from wearsim.decide.propose import propose

    bench, known = _known(path)
    found: list[str] = []
    for name, narrower in _variants(limits):
        progress("stage", name, "")
        proposal = propose(
            bench, limits=Limits(**{**limits, **narrower}), with_trade_off=not found,
            progress=lambda stage, best, name=name: progress("stage", f"{name}: {stage}", f"{decimal(best * 1e9, 0)} nm"),
            **known,
        )  # fmt: skip
        if proposal.programme.text not in found:
            found.append(proposal.programme.text)
            progress("choice", _choice(name, bench, known, proposal))


def _variants(limits: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    """What is looked for: names, and which limits are narrower than those that were asked for."""
    variants: list[tuple[str, dict[str, Any]]] = [("Best within the limits", {})]
    if limits["spells"] > 1:
        variants.append(("One spell", {"spells": 1}))
    if len(limits["on_top"]) > 1:
        variants += [("Tool on top only", {"on_top": ("tool",)}), ("Mirror on top only", {"on_top": ("mirror",)})]
    return [*variants, ("Half the minutes", {"minutes": max(0.5 * limits["minutes"], 2.0)})]


def _choice(name: str, bench: Bench, known: dict[str, Any], proposal: Proposal) -> dict[str, Any]:
    from wearsim.bench.units import length_unit
    from wearsim.show.card import card_bytes
    from wearsim.show.expected_readings import expected_text
    from wearsim.show.outcome import unit_for
    from wearsim.show.proposal import proposal_figure, proposal_text
    from wearsim.wear.expected_readings import expected_after

    after = expected_after(bench, proposal.programme, proposal.outcome, for_card=True, **known)
    own = after if after is not None and after.is_own else None
    readings = expected_text(bench, own) if own else ""
    return {
        **_predicted(bench, proposal.programme, proposal.outcome),
        "name": name,
        "expected": unit_for(proposal.outcome).text(proposal.expected_rms),
        "reason": proposal.reason,
        "readings": readings,
        "text": proposal_text(bench, proposal, readings),
        "plot": picture_of(proposal_figure(bench, proposal)) if proposal.trade_off else "",
        "card": card_bytes(bench, proposal, after, as_left=known.get("laps") is not None),
        "unit": length_unit(bench).name,
    }


def _predicted(bench: Bench, programme: Programme, outcome: Outcome) -> dict[str, Any]:
    """What a programme is predicted to do: in words, as a picture, its strokes moving."""
    from wearsim.page.moving_stroke import moving_stroke
    from wearsim.show.numbers import numbers_after, numbers_before
    from wearsim.show.outcome import unit_for
    from wearsim.show.proposal import work_minutes

    high, before, after = unit_for(outcome), numbers_before(outcome), numbers_after(outcome)
    return {
        "programme": programme.text,
        "minutes": work_minutes(programme),
        "before": before.height("surface_rms", high),
        "after": after.height("surface_rms", high),
        "edge": after.height("edge_roll", high),
        "strehl": after.text("strehl", "{:.2f}".format),
        "spells": spells_of(bench, programme),
        "moving": [moving_stroke(bench, spell) for spell in programme.spells],
        "picture": outcome_picture(bench, outcome),
        "warnings": list(outcome.warnings),
    }


def spells_of(bench: Bench, programme: Programme) -> list[dict[str, Any]]:
    """A programme spell by spell, as the barrel needs it: in words, and what the hands count."""
    from wearsim.bench.units import length_unit, stroke_unit
    from wearsim.show.card.content import quarters
    from wearsim.show.strokes import spell_sizes, spell_title

    unit, hands = stroke_unit(bench), bench.hands
    return [
        {
            "title": spell_title(spell),
            "sizes": spell_sizes(spell, bench.mirror.diameter, unit),
            "minutes": spell.minutes,
            "rate": 0.0 if spell.is_press else spell.rate,
            "walk": hands.walk,
            "hand_turn": hands.hand_turn,
            "rounds": "" if spell.is_press else quarters(spell.duration / hands.walk),
            "turns": "" if spell.is_press else quarters(spell.duration / hands.hand_turn),
            "turn": round(float(spell.turn) * 57.29578),
            "push": bench.hands.push if spell.push is None else spell.push,
            "unit": length_unit(bench).name,
        }
        for spell in programme.spells
    ]


def own_spells(path: Path, programme: str) -> list[dict[str, Any]]:
    """The spells of a programme as tables, their sizes as shares of the mirror's diameter, to be changed."""
    from wearsim.bench.toml_io import spell_table

    bench, tables = _bench(path), []
    diameter = bench.mirror.diameter
    for spell in programme_of(programme, bench).spells:
        sizes = {key: getattr(spell, key) for key in ("length", "side_sweep", "side_overhang")}
        shares = {key: round(size.on(diameter) / diameter, 3) for key, size in sizes.items() if size is not None}
        tables.append({**spell_table(spell), **shares})
    return tables


def own_programme(spells: list[dict[str, Any]]) -> str:
    """TOML of a programme from such tables, everything written out.

    Raises
    ------
    InputError
        Where a spell cannot be used.
    """
    from wearsim.bench.toml_io import dump_programme, programme_from_table

    return dump_programme(programme_from_table({"spell": spells}))


def predicted(path: Path, programme: str, draws: int) -> dict[str, Any]:
    """What a programme of one's own will do."""
    from wearsim.wear.predict import predict

    bench, known = _known(path)
    work = programme_of(programme, bench)
    return _predicted(bench, work, predict(bench, work, draws=draws, **known))


def headline(path: Path, programme: str) -> dict[str, str]:
    """The same in numbers alone, within a tenth of a second, without a band."""
    from wearsim.show.numbers import numbers_after
    from wearsim.show.outcome import unit_for
    from wearsim.wear.predict import predict

    bench, known = _known(path)
    outcome = predict(bench, programme_of(programme, bench), draws=0, **known)
    high, after = unit_for(outcome), numbers_after(outcome)
    return {"after": after.height("surface_rms", high), "edge": after.height("edge_roll", high)}


def either_way(path: Path, programme: str) -> dict[str, Any]:
    """The same programme with the tool on top and with the mirror on top."""
    from wearsim.bench.input_errors import parse_toml
    from wearsim.bench.toml_io import programme_from_table
    from wearsim.decide.compare import compare
    from wearsim.learn.cache import recall_or_calibrate
    from wearsim.learn.mirror_folder import open_folder
    from wearsim.learn.present_state import present_state
    from wearsim.show.comparison import comparison_figure, comparison_text

    folder = open_folder(path)
    bench = present_state(folder, recall_or_calibrate(folder)).calibrated_bench
    both = compare(bench, programme_from_table(parse_toml(programme, None), text=programme))
    return {"picture": picture_of(comparison_figure(bench, both)), "text": comparison_text(bench, both)}


def work_plan(path: Path, programme: str) -> dict[str, Any]:
    """A programme for the barrel: its spells, their strokes moving."""
    from wearsim.learn.mirror_folder import open_folder
    from wearsim.page.moving_stroke import moving_stroke

    bench = open_folder(path).bench
    work = programme_of(programme, bench)
    return {
        "spells": spells_of(bench, work),
        "moving": [moving_stroke(bench, spell) for spell in work.spells],
        "is_heavy": bench.mirror.piece_mass > HEAVY,
    }


def take(path: Path, programme: str, card: bytes) -> None:
    """Put a chosen programme, and its card where there is one, into the folder, as ``propose -o --card`` would."""
    from wearsim.wear.outcome_file import whole_file

    with whole_file(path / PROGRAMME, force=True) as part:
        part.write_text(programme, encoding="utf-8")
    if card:
        with whole_file(path / CARD, force=True) as part:
            part.write_bytes(card)
    else:
        (path / CARD).unlink(missing_ok=True)


# --- afterwards


def cooling_time(path: Path) -> float:
    """How long the glass must stand before it is read [s]."""
    from wearsim.knifeedge.cooling import cooling
    from wearsim.learn.mirror_folder import open_folder

    mirror = open_folder(path).bench.mirror
    return cooling(mirror.diameter, mirror.thickness, mirror.material).time


def keep_session(
    path: Path, programme: str, rows: list[list[str]], source: str, conditions: dict[str, Any]
) -> dict[str, Any]:
    """Record a session: what was done, and the readings after it in the windows of the folder's sheet."""
    from wearsim.learn.mirror_folder import note_from_table, open_folder
    from wearsim.learn.record import record, repeated_measurement

    windows = sheet_of(path)
    if windows is None:
        raise InputError("no sheet of readings in this folder", file=path, expected="readings through windows; else wearsim record")
    note = note_from_table({"date": date.today(), **conditions})
    with tempfile.TemporaryDirectory() as place:
        done, readings = Path(place) / PROGRAMME, Path(place) / "readings.toml"
        done.write_text(programme, encoding="utf-8")
        readings.write_text(sheet_text(windows.file, rows, source), encoding="utf-8")
        session = record(path, done, note=note, readings=readings)
    repeated = repeated_measurement(open_folder(path), session)
    return {"number": session.number, "minutes": session.minutes, "repeated": repeated or ""}


def done_programme(programme: str, minutes: list[float]) -> str:
    """A programme with the minutes that were really worked; spells that were not begun are left out."""
    from wearsim.bench.input_errors import parse_toml
    from wearsim.bench.programme import Programme
    from wearsim.bench.toml_io import dump_programme, programme_from_table

    planned = programme_from_table(parse_toml(programme, None), text=programme).spells
    worked = zip(planned, minutes, strict=True)
    return dump_programme(Programme(spells=tuple(s.model_copy(update={"minutes": m}) for s, m in worked if m > 0.0)))


def calibration(path: Path, *, progress: Any) -> dict[str, Any]:
    """What the sessions show of hands and pitch; kept in the folder as ``calibrate`` keeps it."""
    from wearsim.learn.cache import KeptCalibration, keep
    from wearsim.learn.calibrate import DRAWS, calibrate
    from wearsim.learn.mirror_folder import open_folder
    from wearsim.show.calibration import calibration_figure, calibration_text

    folder = open_folder(path)
    found = calibrate(folder, progress=lambda *stage: progress(" ".join(map(str, stage))))
    keep(folder, len(folder.sessions), KeptCalibration.of(found), 0, DRAWS)
    return {"picture": picture_of(calibration_figure(folder.bench, found)), "text": calibration_text(folder.bench, found)}


def past(path: Path, *, progress: Any) -> dict[str, Any]:
    """The mirror through its sessions, predicted against read."""
    from wearsim.bench.units import length_unit
    from wearsim.learn.history import history
    from wearsim.learn.mirror_folder import open_folder
    from wearsim.show.history import history_figure, history_text

    folder = open_folder(path)
    found = history(folder, progress=lambda *stage: progress(" ".join(map(str, stage))))
    figure = history_figure(found, folder.bench.mirror, length_unit(folder.bench))
    return {"picture": picture_of(figure), "text": history_text(found)}


def sessions_of(path: Path) -> list[dict[str, Any]]:
    """The sessions in a folder, in short."""
    from wearsim.bench.units import stroke_unit
    from wearsim.learn.mirror_folder import open_folder
    from wearsim.show.strokes import spell_words

    folder = open_folder(path)
    diameter, unit = folder.bench.mirror.diameter, stroke_unit(folder.bench)
    return [
        {
            "number": session.number,
            "date": session.note.date.isoformat(),
            "minutes": session.minutes,
            "notes": session.note.notes,
            "spells": [f"{s.minutes:g} min, {spell_words(s, diameter, unit)}" for s in session.programme.spells],
            "planned": [s.minutes for s in session.programme.spells],
        }
        for session in folder.sessions
    ]


# --- print


def card_pdf(path: Path) -> bytes:
    """The card that lies in the folder.

    Raises
    ------
    InputError
        Where there is none.
    """
    file = path / CARD
    if not file.is_file():
        raise InputError("no card yet", file=file, expected="a proposal taken to the barrel under What next")
    return file.read_bytes()


def mask_pdf(path: Path) -> bytes:
    """The mask of the folder's sheet at 1:1."""
    from wearsim.bench.toml_io import load_bench
    from wearsim.bench.units import length_unit
    from wearsim.knifeedge.mask import MaskLimits, design_mask
    from wearsim.show.mask import mask_figure
    from wearsim.show.style import plot_style

    bench = load_bench(path / "bench.toml")
    windows, unit = sheet_of(path), length_unit(bench)
    count = 5 if windows is None else len(windows.names)
    design = design_mask(count, bench.mirror.geometry, bench.light.wavelength, limits=MaskLimits(unit=unit))
    stream = io.BytesIO()
    with plot_style():
        mask_figure(design, unit=unit).savefig(stream, format="pdf", metadata={"CreationDate": None})
    return stream.getvalue()
