"""What people hand to a command: parsed, loaded, calibrated where a mirror's folder asks for it, and handed over.

All of it happens before anything is computed, and a calibration says that it is one.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from wearsim.cli.options import SURFACE_CHOICE, EngineChoice, is_folder
from wearsim.errors import InputError

if TYPE_CHECKING:
    from wearsim.bench.bench import Bench
    from wearsim.bench.programme import Programme
    from wearsim.bench.units import LengthUnit
    from wearsim.cli.terminal import Messages
    from wearsim.decide.limits import Limits
    from wearsim.learn.mirror_folder import MirrorFolder
    from wearsim.learn.present_state import PresentState
    from wearsim.wear.constants import Belief


# --- parse

OVERNIGHT = "10 h"
"""What is taken for a night (judgement)."""


def by_flag(error: InputError, flags: Mapping[str, str]) -> InputError:
    """The same error by the flag that the value was given with, for a key that has one."""
    key = flags.get(error.key or "", error.key)
    return InputError(error.message, file=error.file, key=key, value=error.value, expected=error.expected)


@contextmanager
def named_by_flag(flags: Mapping[str, str]) -> Iterator[None]:
    """Around what refuses a value by a key that was given with a flag: it is refused by the flag.

    Yields
    ------
    None
    """
    try:
        yield
    except InputError as error:
        raise by_flag(error, flags) from error


def parse_quantity(text: str, flag: str, unit: str, expected: str) -> float:
    """A number with its unit, as it was given with a flag, in ``unit``."""
    from wearsim.bench import units

    try:
        return units.read(text, unit)
    except units.NotAQuantity as error:
        raise InputError(str(error), key=flag, value=text, expected=expected) from error


def parse_length(text: str, flag: str, unit: LengthUnit, least: float = 0.0) -> float:
    """A length [m]: with its unit, or a plain number of the bench's unit."""
    plain = text.strip().replace(".", "", 1).isdecimal()
    metres = parse_quantity(f"{text} {unit.name}" if plain else text, flag, "m", 'a length such as "5 mm" or "0.2 in"')
    if not least <= metres <= 1.0:
        expected = f"{unit.short(least)} to {unit.short(1.0)}"
        raise InputError("out of range", key=flag, value=text, expected=expected)
    return metres


def as_time(text: str, unit: str) -> str:
    """A time as a file takes it: ``overnight`` in hours, a plain number with this unit."""
    from wearsim.bench.units import with_unit

    return OVERNIGHT if text.strip().lower() in ("overnight", "over night") else with_unit(text, "s", unit)


def parse_waited(waited: str | None) -> float | None:
    """How long the glass cooled before it was read [s], if that was given."""
    if waited is None:
        return None
    expected = 'a time with its unit, such as "30 min" or "2 h", or overnight'
    seconds = parse_quantity(as_time(waited, ""), "--waited", "s", expected)
    if not 0.0 <= seconds < float("inf"):
        raise InputError("invalid cooling time", key="--waited", value=waited, expected=expected)
    return seconds


def parse_focal_ratio(text: str | float) -> float:
    """A focal ratio: a plain number, or one behind ``f/``."""
    from wearsim.learn.new_folder import focal_ratio

    try:
        return focal_ratio(str(text))
    except InputError as error:
        raise typer.BadParameter(f'"{text}"; expected {error.expected}') from None


def parse_repertoire(text: str) -> str:
    """Which strokes a proposal may use: ``common`` (once called ``practised``) or ``any``."""
    from wearsim.decide.limits import OLD_NAMES, REPERTOIRES

    name = OLD_NAMES.get(text, text)
    if name not in REPERTOIRES:
        raise typer.BadParameter(f"'{text}' is not one of {', '.join(map(repr, REPERTOIRES))}")
    return name


def parse_limits(shortest: float | None = None, **given: Any) -> Limits:
    """Limits of a proposal, by their flags where they cannot be used."""
    from wearsim.decide.limits import Limits, usual_limits

    try:
        return usual_limits(**given) if shortest is None else Limits(shortest=shortest, **given)
    except InputError as error:
        names = ("minutes", "spells", "shortest", "edge-limit", "rate", "on-top")
        raise by_flag(error, {name: f"--{name}" for name in names}) from None


def engine_settings(engine: EngineChoice, draws: int | None, cells: int | None, seed: int) -> dict[str, Any]:
    """What a prediction is called with.

    Raises
    ------
    InputError
        Where cells are asked of the engine that has none.
    """
    settings: dict[str, Any] = {"engine": engine.value, "draws": draws, "seed": seed}
    if engine is EngineChoice.planar:
        from wearsim.parallel import claim_process

        claim_process()
    if cells is None:
        return settings
    if engine is not EngineChoice.planar:
        raise InputError(
            "only the planar engine uses this", key="--cells", value=cells, expected="--engine planar as well"
        )
    from wearsim.wear.accuracy import PlanarAccuracy

    return {**settings, "planar": PlanarAccuracy(cells=cells)}


# --- load


def heights_as_read_on(bench: Bench) -> Bench:
    """The same bench; heights are written from here on as the command, or else the bench, says."""
    from wearsim.bench.personal_units import read_heights_in, surface_unit

    name = SURFACE_CHOICE.get() or bench.light.surface_unit or "nm"
    read_heights_in(surface_unit(str(name), bench.light.wavelength))
    return bench


def stated_bench(path: Path) -> Bench:
    """The bench of a file, a ready-made one by its name, or a mirror's folder's own with the newest measurement."""
    return heights_as_read_on(_bench_of(path))


def _bench_of(path: Path) -> Bench:
    if path.is_dir():
        from wearsim.learn.mirror_folder import open_folder

        folder = open_folder(path)
        return folder.bench_after(len(folder.sessions))
    from wearsim.bench.toml_io import load_bench
    from wearsim.knifeedge.readings import is_sheet

    try:
        return load_bench(path)
    except InputError:
        if is_sheet(path):
            raise InputError(
                "this is a sheet of readings", file=path, expected="a bench, or a mirror's folder"
            ) from None
        raise


def stated_programme(path: Path, bench: Bench | None = None) -> Programme:
    """A programme, checked on a bench if one is given."""
    from wearsim.bench.toml_io import load_programme

    return load_programme(path, bench)


def load_folder(path: Path, messages: Messages) -> MirrorFolder:
    """A mirror's folder, with a warning of dates that are out of order."""
    from wearsim.learn.mirror_folder import open_folder

    folder = open_folder(path)
    heights_as_read_on(folder.bench)
    messages.dates(folder)
    return folder


def sheet_of(bench: Bench) -> Path:
    """The readings that a bench names, from the current folder where that is shorter; else the usual name."""
    sheet = bench.figure.readings
    if sheet is None:
        return Path("readings.toml")
    here = Path.cwd()
    return sheet.relative_to(here) if sheet.is_relative_to(here) else sheet


def here_or_in(folder: Path, path: Path | None, *, is_readings: bool = False) -> Path | None:
    """A file to read into a mirror's folder: from the current directory, or else in that folder.

    ``is_readings``: where they come from is said if they are not there.

    Raises
    ------
    InputError
        Where a relative path leads to nothing in either; one that is absolute is left to whoever reads it.
    """
    if path is None or path.is_absolute() or os.path.lexists(path) or not is_folder(folder):
        return path  # os.path: an impossible name is there in neither place
    inside = folder / path
    if not os.path.lexists(inside):
        expected = f"an existing file, from the current directory or in {folder} ({inside})"
        hint = sheet_hint(folder, "; {}") if is_readings else ""
        raise InputError("no such file", file=path, expected=f"{expected}{hint}")
    return inside


def sheet_hint(folder: Path, form: str) -> str:
    """Where the readings after a session come from, in a text of this form; empty for a folder without a sheet."""
    sheet = folder / "readings.toml"
    return form.format(f"copy {sheet} to after.toml and fill in the new readings") if sheet.is_file() else ""


def name_record(
    messages: Messages, folder: Path, worked: tuple[object, ...], bench: Bench, pressings: Mapping[str | None, float]
) -> None:
    """Name ``record`` as the next command, with what it takes and where that comes from; pressings in seconds."""
    from wearsim.show.text import paragraph

    minutes = math.ceil(sum(pressings.values()) / 60.0)
    if minutes:
        flows = max(bench.relaxation_time_at(bench.lap(lap)) for lap in pressings) / 60.0
        messages.info(paragraph(
            f"Press the lap first for about {minutes} min: at this temperature the pitch takes {flows:.0f} min to lose "
            "two thirds of a misfit. After less pressing it fits less well, and the result is less certain. When you record "
            f'the session, add --pressed "{minutes} min", or for how long you really pressed.'
        ))  # fmt: skip
    if hint := sheet_hint(folder, "After the session {}."):
        messages.info(paragraph(hint))
    messages.next("record", folder, *worked, "--readings", "after.toml")


# --- calibrate


def to_calibrate(folder: MirrorFolder, *, every: bool = False, seed: int = 0) -> int:
    """From how many sessions is still to be calibrated; 0 where all that is needed is kept in the folder.

    ``every``: what was known after every session is needed, not after the newest alone.
    """
    from wearsim.learn.cache import recalled

    newest = len(folder.sessions)
    counts = range(1 if every else newest, newest + 1)
    return max((count for count in counts if recalled(folder, count, seed=seed) is None), default=0)


def kept_file(folder: MirrorFolder, *, every: bool = False, seed: int = 0) -> Path | None:
    """The file that is written into a folder where something is still to be calibrated."""
    from wearsim.learn.cache import FILE

    return folder.path / FILE if to_calibrate(folder, every=every, seed=seed) else None


def kept_proposal_file(path: Path) -> Path | None:
    """Where what is proposed on a mirror's folder is kept; None for a bench that is none."""
    if not path.is_dir():
        return None
    from wearsim.learn.mirror_folder import open_folder
    from wearsim.learn.proposal_file import proposal_file

    folder = open_folder(path)
    return proposal_file(folder.path, len(folder.sessions) + 1)


@contextmanager
def calibrating(folder: MirrorFolder, messages: Messages, *, every: bool = False, seed: int = 0) -> Iterator[None]:
    """Around what calibrates a folder where that has not been done: it is said, and shown at a terminal.

    Yields
    ------
    None
    """
    from wearsim.learn.cache import stale

    messages.calibrating(to_calibrate(folder, every=every, seed=seed), stale(folder, seed=seed))
    with messages.working("working through the sessions"):
        yield


def read_state(path: Path, messages: Messages) -> tuple[MirrorFolder, PresentState]:
    """A mirror's folder, and the mirror after its newest session, calibrated where that has not been done."""
    from wearsim.learn.cache import recall_or_calibrate
    from wearsim.learn.mirror_folder import open_folder
    from wearsim.learn.present_state import present_state

    folder = open_folder(path)
    heights_as_read_on(folder.bench)
    with calibrating(folder, messages):
        known = recall_or_calibrate(folder)
    return folder, present_state(folder, known)


# --- hand over


def read_bench(path: Path, messages: Messages) -> Bench:
    """The bench that a person named; of a mirror's folder with the constants that its sessions show."""
    return read_state(path, messages)[1].calibrated_bench if path.is_dir() else stated_bench(path)


def read_known(path: Path, messages: Messages) -> tuple[Bench, dict[str, Any]]:
    """The same for what takes more than a bench: of a mirror's folder also belief, glass and laps, by these names."""
    if not path.is_dir():
        return stated_bench(path), {}
    _, state = read_state(path, messages)
    return state.bench, state.arguments


def learned(known: Mapping[str, Any]) -> Belief | None:
    """The constants that sessions gave, of what a folder knows; None without a session."""
    return known["belief"] if known.get("laps") is not None else None


# --- check, for a dry run: all is read, nothing is calibrated


def check_folder(folder: MirrorFolder) -> None:
    """Refuse a folder whose measurements or conditions of sessions cannot be used."""
    from wearsim.learn.calibrate import filter_of

    _check_figure(folder.bench)
    filter_of(folder)


def check_inputs(
    path: Path, programme: Path | None = None, engine: EngineChoice = EngineChoice.radial, *, either_way: bool = False,
    draws: int | None = None,
) -> Path | None:  # fmt: skip
    """Bench and programme, if any, for an engine and so many draws, with either piece on top if asked.

    Returns
    -------
    Path or None
        What the command would write into a mirror's folder, where its sessions are still to be calibrated.
    """
    kept = None
    if path.is_dir():
        from wearsim.learn.mirror_folder import open_folder

        folder = open_folder(path)
        check_folder(folder)
        bench, kept = folder.bench, kept_file(folder)  # its own bench: sessions do not change what can be done on it
    else:
        bench = stated_bench(path)
        _check_figure(bench)
    work = None if programme is None else stated_programme(programme, None if either_way else bench)
    if work is not None:
        from wearsim.wear.predict import check_draws

        check_draws(work, draws, "--draws")
    if either_way and work is not None:
        from wearsim.decide.compare import check_either_way

        check_either_way(bench, work)
    if engine is EngineChoice.radial:
        from wearsim.wear.radial.engine import check_round

        for lap in bench.laps if work is None else [bench.lap(spell.lap) for spell in work.spells]:
            check_round(bench, lap)
    elif work is not None:
        from wearsim.wear.planar.engine import PlanarEngine

        PlanarEngine().check(bench, work)
    return kept


def _check_figure(bench: Bench) -> None:
    """Refuse a figure that a bench names and that cannot be used."""
    from wearsim.wear.initial_figure import start_figure

    start_figure(bench)
