"""Readings that are typed row by row into the sheet of a mirror's folder, and what looks like a slip among them."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from wearsim.bench.bench import Bench
from wearsim.bench.input_errors import parse_toml, read_text
from wearsim.bench.toml_io import load_bench
from wearsim.bench.whole_file import digest
from wearsim.errors import InputError
from wearsim.knifeedge.longitudinal import SOURCES, Zones
from wearsim.knifeedge.readings import LEAST_ZONES, Readings, check_against_mirror, parse_readings
from wearsim.knifeedge.reduction import reduce_readings
from wearsim.learn.mirror_folder import BENCH, READINGS, MirrorFolder
from wearsim.learn.whole_writes import write_file

NOT_A_NUMBER = "not a number"
CHANGED = "changed by another program in the meantime; look at it before you continue"
_BLOCK, _WINDOWS = (
    re.compile(rf"(?ms)^{key}\s*=\s*\[(?:#[^\n]*|[^#\[\]]|\[[^\[\]]*\])*\]\n?")
    for key in ("readings", "(?:windows|radius)")
)
_PLACE = re.compile(r"readings, rows? (\d+)(?: and (\d+))?, zone (\d+): (.*)")
Rows = Sequence[Sequence[str]]


@dataclass(frozen=True, eq=False)
class Sheet:
    """A sheet of readings that may hold none yet, with its rows as text.

    Parameters
    ----------
    file : Path
    blank : Readings
        Its windows, unit and source, with a row of zeros.
    rows : tuple of tuple of str
        What it holds.
    digest : str
        Of its text.
    """

    file: Path
    blank: Readings
    rows: tuple[tuple[str, ...], ...]
    digest: str

    @property
    def windows(self) -> int:
        """How many."""
        return len(self.blank.zones)


def present_file(folder: MirrorFolder) -> Path | None:
    """The sheet that says where the glass is now; None where it was measured otherwise."""
    return folder.bench_after().figure.readings


def newest_sheet(folder: MirrorFolder) -> Sheet | None:
    """The newest sheet of a folder: windows to read through; its rows only where they say where the glass is now."""
    files = [folder.bench.figure.readings, *(session.figure.readings for session in folder.sessions)]
    file = next((one for one in reversed(files) if one is not None), None)
    if file is None:
        return None
    text = read_text(file, "a sheet of readings")
    table = parse_toml(text, file)
    count = len(table.get("windows", table.get("radius", ())))
    blank = parse_readings(_with_rows(text, [["0"] * count]), file)
    given = table.get("readings", ()) if file == present_file(folder) else ()
    return Sheet(file, blank, tuple(tuple(f"{number:.10g}" for number in row) for row in given), digest(text))


def sheet_text(file: Path, rows: Rows, source: str = "") -> str:
    """A sheet's text with these rows in place of its own, everything else as it is."""
    text = _with_rows(read_text(file), rows)
    return re.sub(r'(?m)^(source\s*=\s*)"\w*"', rf'\1"{source}"', text) if source in SOURCES else text


def _with_rows(text: str, rows: Rows) -> str:
    lines = "".join(f"    [{', '.join(map(_number, row))}],\n" for row in rows)
    return f"{_BLOCK.sub('', text).rstrip()}\nreadings = [\n{lines}]\n"


def _number(cell: str) -> str:
    """A typed number as TOML has it, 1,25 and .5 and 3. too; a text, which is then refused, where it is none."""
    text = cell.strip().replace(",", ".")
    try:
        return repr(float(text))
    except ValueError:
        return '"' + re.sub(r'[^ -~]|["\\]', "?", text) + '"'


def typed_readings(bench: Bench, file: Path, rows: Rows, source: str) -> Readings:
    """Rows in the windows of a sheet; InputError where they cannot be used."""
    readings = parse_readings(sheet_text(file, rows, source), file)
    check_against_mirror(readings, bench.mirror.geometry)
    return readings


@contextmanager
def typed_file(folder: MirrorFolder, rows: Rows, source: str) -> Iterator[Path]:
    """Rows in the windows of a folder's newest sheet, as a file for as long as the block lasts.

    Yields
    ------
    Path

    Raises
    ------
    InputError
        Where the folder has no sheet.
    """
    sheet = newest_sheet(folder)
    if sheet is None:
        raise InputError("no sheet of readings in this folder", file=folder.path, expected="a sheet with windows")
    with tempfile.TemporaryDirectory() as place:
        file = Path(place) / READINGS
        file.write_text(sheet_text(sheet.file, rows, source), encoding="utf-8")
        yield file


def write_rows(folder: MirrorFolder, rows: Rows, source: str, made_from: str) -> str:
    """Put rows into the folder's present sheet.

    Parameters
    ----------
    made_from : str
        Digest of the sheet's text as it was last seen.

    Returns
    -------
    str
        Digest of its text now.

    Raises
    ------
    InputError
        Where the file was changed meanwhile, or a reading cannot be used; nothing is written then.
    """
    file = present_file(folder)
    if file is None or digest(read_text(file)) != made_from:
        raise InputError(CHANGED, file=file)
    if rows:
        typed_readings(folder.bench, file, rows, source)
    text = sheet_text(file, rows, source)
    write_file(folder.path, file, text)
    return digest(text)


def write_windows(folder: MirrorFolder, text: str) -> None:
    """Put the windows of one's own mask into the folder's sheet, in place of those that wearsim suggests.

    Parameters
    ----------
    text : str
        From and to of each window in the sheet's unit, from the middle outwards: ``10-40, 42.5-60``.

    Raises
    ------
    InputError
        Where they cannot be used, or the sheet has readings already; nothing is written then.
    """
    sheet = newest_sheet(folder)
    if sheet is None or sheet.rows or folder.sessions:
        raise InputError(
            "there are already readings taken with other windows", file=folder.path, expected="an empty sheet"
        )
    numbers = [_number(one) for one in re.split(r"[^0-9.]+", text) if one]
    if len(numbers) % 2 or any(one.startswith('"') for one in numbers):
        raise InputError(
            "not two edges for each window",
            key="windows",
            value=text,
            expected="inner-outer for each window, separated by commas",
        )
    pairs = ", ".join(f"[{inner}, {outer}]" for inner, outer in zip(numbers[::2], numbers[1::2], strict=True))
    before = read_text(sheet.file)
    kept = _WINDOWS.sub("", before, count=1)
    written = _with_rows(f"{kept.rstrip()}\nwindows = [{pairs}]\n", [["0"] * (len(numbers) // 2)])
    check_against_mirror(parse_readings(written, sheet.file), folder.bench.mirror.geometry)
    write_file(folder.path, sheet.file, _with_rows(written, []))


def slips(path: Path, file: Path, rows: Rows, source: str) -> dict[tuple[int, int], str]:
    """Readings that are no number, or far from the others, by row and window, in words.

    Rows need not be whole: compared are the windows that all of them have.

    Parameters
    ----------
    path : Path
        The mirror's folder.
    """
    found = {
        (i, j): NOT_A_NUMBER for i, row in enumerate(rows) for j, cell in enumerate(row)
        if cell.strip(" +-.,") and _number(cell).startswith('"')  # a number may begin with a point
    }  # fmt: skip
    windows = range(len(rows[0])) if rows else range(0)
    shared = [j for j in windows if all(row[j].strip() and (i, j) not in found for i, row in enumerate(rows))]
    if len(shared) < LEAST_ZONES:
        return found
    for line in _warnings(load_bench(path / BENCH), file, rows, source, shared):
        if place := _PLACE.match(line):
            zone = shared[int(place[3]) - 1]
            found |= {(int(row) - 1, zone): place[4] for row in place.group(1, 2) if row}
    return found


def _warnings(bench: Bench, file: Path, rows: Rows, source: str, shared: list[int]) -> Sequence[str]:
    """What is said of the rows in these windows alone."""
    zeros = [[cell if j in shared else "0" for j, cell in enumerate(row)] for row in rows]
    try:
        whole = parse_readings(sheet_text(file, zeros, source), file)
        zones = Zones(whole.zones.inner[shared], whole.zones.outer[shared])
        part = replace(whole, zones=zones, positions=whole.positions[:, shared], sigma=None)
        check_against_mirror(part, bench.mirror.geometry)
        return reduce_readings(part, bench.mirror.geometry, bench.light.wavelength).warnings
    except InputError as error:
        return [f"{error.key}: {error.message}"]
