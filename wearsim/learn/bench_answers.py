"""The answers that a mirror's bench was made of, read from its file, and other ones put into it.

What no question asks stays as it is in the file, comments too.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from contextlib import suppress
from copy import deepcopy
from pathlib import Path
from typing import Any

from wearsim.bench.bench import Bench
from wearsim.bench.input_errors import parse_toml, read_text
from wearsim.bench.toml_io import bench_from_table
from wearsim.bench.whole_file import digest
from wearsim.errors import InputError
from wearsim.knifeedge.readings import Readings, check_against_mirror
from wearsim.learn.mirror_folder import BENCH, MirrorFolder, open_folder
from wearsim.learn.new_folder import TARGETS, Rows, answered_rows, answers_from, commented, fresh_folder, with_weight
from wearsim.learn.typed_readings import CHANGED, newest_sheet, typed_readings
from wearsim.learn.whole_writes import write_file

PLACES = {
    "diameter": ("mirror", "diameter"), "target": ("mirror", "conic"), "thickness": ("mirror", "thickness"),
    "rim_excluded": ("mirror", "rim_excluded"), "glass": ("mirror", "glass"), "lap_diameter": ("lap", "diameter"),
    "lap_mass": ("lap", "mass"), "facet": ("lap", "facet"), "pitch": ("lap", "pitch"), "push": ("hands", "push"),
    "abrasive": ("wear", "abrasive"), "temperature": ("wear", "temperature"), "surface_unit": ("light", "surface_unit"),
}  # fmt: skip
"""Table and key of an answer; that of the focal ratio is the radius of curvature."""
OTHERWISE = "laid out in another way than wearsim writes it"
_VALUE = r"\"[^\"\n]*\"|'[^'\n]*'|[^#\n]*?"


def given_in(folder: MirrorFolder) -> tuple[dict[str, str], str]:
    """The answers in a folder's bench by their questions' keys, what is as wearsim takes it left open; its file's digest.

    Raises
    ------
    InputError
        Where the bench has more than what the questions ask for: several laps.
    """
    file = folder.path / BENCH
    text = read_text(file)
    table = parse_toml(text, file)
    if isinstance(table["lap"], list):
        raise InputError("there are several laps", file=file, key="lap", expected="changes in the file itself")
    mirror = folder.bench.mirror
    given = {key: str(table[name][at]) for key, (name, at) in PLACES.items() if at in table.get(name, {})}
    conic, ratio = mirror.conic, mirror.radius_of_curvature / (2.0 * mirror.diameter)
    given["target"] = next((words for words, one in TARGETS.items() if one == conic), repr(conic))
    given["focal_ratio"] = f"{ratio:.6g}"
    if table["lap"].get("facet_shape") == "none":
        given["facet"] = "none"
    if given.get("lap_diameter") == given["diameter"]:
        del given["lap_diameter"]
    if with_weight(answers_from({**given, "lap_mass": ""})).lap_mass == given.get("lap_mass"):
        del given["lap_mass"]
    return given, digest(text)


def change_answers(path: Path, given: Mapping[str, Any], made_from: str, is_read: bool = False) -> None:
    """Put other answers into a mirror's bench; a sheet that holds no readings gets windows for a mirror of another size.

    Parameters
    ----------
    path : Path
        The mirror's folder.
    given : mapping
        By the questions' keys, each with its unit.
    made_from : str
        Digest of the file as the answers were read from it.
    is_read : bool
        Whether there are readings in the windows of its sheet, in the sheet itself or not yet.

    Raises
    ------
    InputError
        Where they cannot be used, or the file was changed meanwhile; nothing is written then.
    CouldNotError
        Where the disc refuses.
    """
    file, folder = path / BENCH, open_folder(path)
    text = read_text(file)
    if digest(text) != made_from:
        raise InputError(CHANGED, file=file)
    before, answers = (with_weight(answers_from(one)) for one in (given_in(folder)[0], given))
    written = _changed(text, file, answered_rows(before.complete()), answered_rows(answers.complete()))
    bench = bench_from_table(parse_toml(written, file), file=file, text=written)
    sheet = newest_sheet(folder)
    if sheet is not None and not (is_read or sheet.rows or folder.sessions) and before.diameter != answers.diameter:
        write_file(path, sheet.file, fresh_folder(answers).readings_text)
    else:
        _check_readings(folder, bench)
    write_file(path, file, written)


def _check_readings(folder: MirrorFolder, bench: Bench) -> None:
    """What was read must be readings of this mirror; InputError where it is not."""
    measured = [session.measurement for session in folder.sessions]
    sheet = newest_sheet(folder)
    if sheet is not None:
        measured.append(typed_readings(bench, sheet.file, sheet.rows, "") if sheet.rows else sheet.blank)
    for one in measured:
        if isinstance(one, Readings):
            check_against_mirror(one, bench.mirror.geometry)


def _changed(text: str, file: Path, before: Rows, after: Rows) -> str:
    """A bench's text with other answers in the place of those before."""
    table: dict[str, Any] = parse_toml(text, file)
    wanted = deepcopy(table)
    was, becomes = ({(name, row[0]): row for name in rows for row in rows[name]} for rows in (before, after))
    for name, key in {**was, **becomes}:
        old, new = was.get((name, key)), becomes.get((name, key))
        if old != new:
            text = _with_row(text, name, key, old, new)
            wanted.setdefault(name, {}).pop(key, None)
            if new is not None:
                wanted[name][key] = parse_toml(f"{key} = {new[1]}", None)[key]
    with suppress(InputError):
        if _filled(parse_toml(text, file)) == _filled(wanted):
            return text
    raise InputError(OTHERWISE, file=file, expected="changes in the file itself")


def _filled(table: dict[str, Any]) -> dict[str, Any]:
    return {name: one for name, one in table.items() if one}


_Row = tuple[str, str, str]


def _with_row(text: str, name: str, key: str, old: _Row | None, new: _Row | None) -> str:
    """The text with another line, or none, for a key of a table: with its comment, where that is not a person's own."""
    head = re.search(rf"(?m)^\[{name}\][^\n]*\n", text)
    if head is None:
        return text if new is None else f"{text.rstrip()}\n\n[{name}]\n{_line(new)}"
    end = re.compile(r"(?m)^\[").search(text, head.end())
    start, stop = head.end(), len(text) if end is None else end.start()
    part = text[start:stop]
    own = rf"(?m)^({key}\s*=\s*)({_VALUE})([^\S\n]*(?:#[^\n]*)?\n(?: {{33}}#[^\n]*\n)*)"
    unset = rf"(?m)^# {key} = [^\n]*\n(?: {{33}}#[^\n]*\n)*"
    if found := re.search(own, part):
        is_ours = old is not None and found[3].split() == _line(old).removeprefix(f"{old[0]} = {old[1]}").split()
        line = "" if new is None else _line(new) if is_ours else f"{found[1]}{new[1]}{found[3]}"
    else:
        found, line = re.search(unset, part), "" if new is None else _line(new)
    at, to = (0, 0) if found is None else found.span()
    return f"{text[:start]}{part[:at]}{line}{part[to:]}{text[stop:]}"


def _line(row: _Row) -> str:
    key, value, comment = row
    return commented(f"{key} = {value}", comment) + "\n"
