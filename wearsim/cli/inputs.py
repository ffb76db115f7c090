"""What people hand to a command: benches and programmes, and what is said of them."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from wearsim.cli import completion as ready
from wearsim.errors import InputError

if TYPE_CHECKING:
    from wearsim.bench.bench import Bench
    from wearsim.bench.programme import Programme
    from wearsim.bench.units import Unit
    from wearsim.cli.messages import Voice
    from wearsim.decide.limits import Limits
    from wearsim.learn.folder import MirrorFolder
    from wearsim.learn.present_state import PresentState

BenchPath = Annotated[
    Path,
    typer.Argument(
        metavar="BENCH", help="bench.toml, a mirror's folder, or a ready bench.", show_default=False,
        autocompletion=ready.benches,
    ),
]  # fmt: skip
FolderPath = Annotated[Path, typer.Argument(metavar="FOLDER", help="The mirror's folder.", show_default=False)]
ProgrammePath = Annotated[
    Path, typer.Option("--programme", "-p", metavar="FILE", help="What is done: programme.toml.", show_default=False)
]
Waited = Annotated[
    str | None, typer.Option("--waited", metavar="TIME", help='How long the glass stood before, such as "2 h".')
]
Shadows = Annotated[
    Path | None, typer.Option("--shadows", metavar="FILE", help="Draw what the tester shows of it: .png, .svg or .pdf.")
]


def read_bench(path: Path, voice: Voice) -> Bench:
    """The bench that a person named: the one place that says what a BENCH may be.

    Of a mirror's folder: its bench with the newest measurement and the constants that its sessions tell.
    """
    if path.is_dir():
        return _present_state(path, voice).calibrated_bench
    from wearsim.bench.toml_io import load_bench
    from wearsim.knifeedge.readings import is_sheet

    try:
        return load_bench(path)
    except InputError:
        if is_sheet(path):
            raise InputError("a sheet of readings", file=path, expected="a bench, or a mirror's folder") from None
        raise


def read_known(path: Path, voice: Voice) -> tuple[Bench, dict[str, Any]]:
    """The same for what takes more than a bench: of a mirror's folder also belief, glass and laps, by these names."""
    if path.is_dir():
        state = _present_state(path, voice)
        return state.bench, state.arguments
    return read_bench(path, voice), {}


def check_bench(path: Path, voice: Voice) -> tuple[Bench, Path | None]:
    """The bench that a person named, for a dry run: all that it rests on is read, and nothing is calibrated.

    Returns
    -------
    bench : Bench
        Of a mirror's folder: its own, as the sessions do not change what can be done on it.
    kept : Path or None
        What the command would write into the folder, where its sessions are still to be calibrated.
    """
    if not path.is_dir():
        bench = read_bench(path, voice)
        _check_figure(bench)
        return bench, None
    from wearsim.learn.cache import FILE, recalled
    from wearsim.learn.folder import open_folder

    folder = open_folder(path)
    check_folder(folder)
    is_known = not folder.sessions or recalled(folder) is not None
    return folder.bench, None if is_known else folder.path / FILE


def check_folder(folder: MirrorFolder) -> None:
    """Refuse a folder whose measurements or conditions of sessions cannot be used, nothing being calibrated."""
    from wearsim.learn.calibrate import filter_of

    _check_figure(folder.bench)
    filter_of(folder)


def _check_figure(bench: Bench) -> None:
    """Refuse a figure that a bench names and that cannot be used."""
    from wearsim.wear.initial_figure import start_figure

    start_figure(bench)


def check_round_laps(bench: Bench, programme: Programme | None = None) -> None:
    """Refuse a ring or a star, for the radial engine: of a programme's laps, or of all the bench's."""
    from wearsim.wear.radial.engine import check_round

    laps = bench.laps if programme is None else [bench.lap(spell.lap) for spell in programme.spells]
    for lap in laps:
        check_round(bench, lap)


def _present_state(path: Path, voice: Voice) -> PresentState:
    from wearsim.learn.folder import open_folder
    from wearsim.learn.present_state import calibrated_state

    folder = open_folder(path)
    tell_stale(voice, folder)
    with voice.working("working through the sessions"):
        return calibrated_state(folder)


def tell_stale(voice: Voice, folder: MirrorFolder, **how: int) -> None:
    """Say so where what a folder keeps of its calibration does not count, so that it is worked out again."""
    from wearsim.learn.cache import stale

    line = stale(folder, **how)
    if line is not None:
        voice.say(line)


def tell_days(voice: Voice, folder: MirrorFolder) -> None:
    """Warn of a session that is dated before the one before it: sessions are taken in the order of their numbers."""
    for before, session in pairwise(folder.sessions):
        if session.note.date < before.note.date:
            voice.warn(
                f"session {session.number} is dated {session.note.date}, before session {before.number} "
                f"({before.note.date}): sessions are taken in the order of their numbers."
            )


def read_programme(path: Path, bench: Bench | None = None) -> Programme:
    """The programme that a person named, checked on a bench if one is given."""
    from wearsim.bench.toml_io import load_programme

    return load_programme(path, bench)


def read_length(text: str, key: str, unit: Unit, least: float = 0.0) -> float:
    """A length that was given on the command line [m]: with its unit, or a plain number of the bench's unit."""
    from wearsim.bench import units

    expected = 'a length such as "5 mm" or "0.2 in"'
    try:
        plain = text.strip().replace(".", "", 1).isdecimal()
        metres = units.read(f"{text} {unit.name}" if plain else text, "m")
    except units.NotAQuantity as error:
        raise InputError(str(error), key=key, value=text, expected=expected) from error
    if not least <= metres <= 1.0:
        expected = f"{unit.short(least)} to {unit.short(1.0)}"
        raise InputError("out of range", key=key, value=text, expected=expected)
    return metres


MISSING_FOLDER = "a name in a folder that is there"
"""What is expected where the folder of something to be written is missing."""


def by_flag(error: InputError, flags: Mapping[str, str]) -> InputError:
    """The same error by the flag that the value was given with, for a key that has one."""
    key = flags.get(error.key or "", error.key)
    return InputError(error.message, file=error.file, key=key, value=error.value, expected=error.expected)


def read_limits(**given: Any) -> Limits:
    """Limits of a proposal as given by flags, told by their flags where they cannot be used."""
    from wearsim.decide.limits import Limits

    try:
        return Limits(**given)
    except InputError as error:
        names = ("minutes", "spells", "shortest", "edge-limit", "rate", "on-top")
        raise by_flag(error, {name: f"--{name}" for name in names}) from None


def read_focal_ratio(text: str | float) -> float:
    """A focal ratio that was given on the command line: a plain number, or one behind ``f/``."""
    try:
        return float(str(text).strip().lower().removeprefix("f").strip().removeprefix("/"))
    except ValueError:
        raise typer.BadParameter(f'"{text}"; expected a plain number such as 6, or f/6') from None


def sheet_of(bench: Bench) -> Path:
    """The readings that a bench names, from the current folder where that is shorter; else the usual name."""
    sheet = bench.figure.readings
    if sheet is None:
        return Path("readings.toml")
    here = Path.cwd()
    return sheet.relative_to(here) if sheet.is_relative_to(here) else sheet


def read_waited(waited: str | None) -> float | None:
    """How long the glass stood before it was read [s], if that was said."""
    if waited is None:
        return None
    from wearsim.bench import units

    expected = 'a time such as "2 h"'
    try:
        seconds = units.read(waited, "s")
    except units.NotAQuantity as error:
        raise InputError(str(error), key="--waited", value=waited, expected=expected) from error
    if not 0.0 <= seconds < float("inf"):
        raise InputError("not a time to wait", key="--waited", value=waited, expected=expected)
    return seconds


def tell_waiting(voice: Voice, bench: Bench, waited: float | None) -> None:
    """A warning where the glass stood for too short a time [s], if we are told for how long."""
    if waited is None:
        return
    from wearsim.knifeedge.cooling import cooling

    mirror = bench.mirror
    warning = cooling(mirror.diameter, mirror.thickness, mirror.material).warning(waited)
    if warning is not None:
        voice.warn(warning)


def tell_defaults(voice: Voice, bench: Bench, programme: Programme | None = None) -> None:
    """Say which defaults were used; with ``-v`` where each comes from."""
    from wearsim.show.notices import defaults_text

    used = bench.defaults_used + (programme.defaults_used if programme else ())
    if used:
        voice.say(defaults_text(used, sources=voice.verbose))


def tell_cautions(voice: Voice) -> None:
    """One line of caution; with ``-v`` all of them."""
    from wearsim.show.notices import cautions_text

    voice.say(cautions_text(whole=voice.verbose))


def tell_compiling(voice: Voice) -> None:
    """Say so where the first call ever has to compile the kernels."""
    from wearsim.kernels._jit import is_compiled

    if not is_compiled():
        voice.say("First use on this machine: compiling, about a minute, this once.")
