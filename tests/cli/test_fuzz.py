"""Files that a person, a bad disk or malice may write, and every command that reads them: one line, and nothing left.

Tables are drawn from the files' own schemas, sound and impossible values alike; the files of the examples are spoilt byte
by byte. Whatever comes: exit code 0, 1, 2 or 130, a failure in one line, no traceback, no hang, no file that nobody asked
for.
"""

from __future__ import annotations

import contextlib
import io
import os
import shutil
import signal
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wearsim.bench import materials as catalogue
from wearsim.bench.fields import InputTable, rule_of
from wearsim.cli.main import run
from wearsim.learn.mirror_folder import SessionNote
from wearsim.study.axes import AxisTable, SampleTable
from wearsim.study.plan import StudyTable
from wearsim.study.settings import MODELS

EXAMPLES = Path(__file__).parents[2] / "examples"
PATIENCE = 60
"""Seconds after which a call hangs, on a machine that others work on too; none takes one on a quiet one."""
TABLES: dict[str, type[InputTable]] = {
    **MODELS, "session": SessionNote, "study": StudyTable, "axis": AxisTable, "sample": SampleTable,
}  # fmt: skip
UNITS = ("mm", "m", "in", "nm", "um", "km", "kg", "lb", "g", "N", "lbf", "s", "min", "h", "degC", "degF", "K", "Pa/m",
         "/ Pa", "kg/m^3", "deg", "turn", "rad", "dB", "parsec", "mm mm", "")  # fmt: skip
words = st.sampled_from((
    "w", "oval", "straight", "press", "one-third", "overhang", "tool", "mirror", "square", "none", "pressed", "full", "grid",
    "profile.csv", "readings.toml", "bench.toml", "programme.toml", "fifo", ".", "..", "/dev/zero", "raised-zone-300",
    "hands.push", "lap.stiffness", "spell 1.length", "normal", "edge_roll", "figure_error", "sobol", "radial", "planar",
    *catalogue.names("glasses"), *catalogue.names("pitches"),
))  # fmt: skip
numbers = st.one_of(
    st.integers(-3, 100), st.floats(-10.0, 400.0), st.floats(), st.sampled_from((10**400, -(2**63), 1e300, 5e-324, 1e22)),
)  # fmt: skip
quantities = st.builds("{} {}".format, numbers.map(lambda one: str(one)[:40]), st.sampled_from(UNITS))
plain = st.one_of(numbers, quantities, words, st.text(max_size=8), st.booleans())
values = st.recursive(
    plain, lambda one: st.lists(one, max_size=3) | st.dictionaries(words, one, max_size=2), max_leaves=4
)


def likely(model: type[InputTable], key: str) -> st.SearchStrategy[Any]:
    """Mostly of the kind that a key wants, in its range or at the ends of it."""
    rule = rule_of(model.model_fields[key])
    if rule is None:
        return words | values
    low = next((limit for limit in (rule.least, rule.above) if limit is not None), -10.0)
    high = 1e3 if rule.most is None else rule.most
    inside = st.floats(low, high) | st.sampled_from((low, high))
    return st.one_of(inside.map(lambda one: f"{one!r} {rule.base}" if rule.base else one), inside, values)


@st.composite
def table(draw: st.DrawFn, name: str, sound: dict[str, Any]) -> dict[str, Any]:
    """A table with some of its keys changed, left out or new."""
    keys = draw(st.lists(st.sampled_from(sorted(TABLES[name].model_fields)), max_size=3, unique=True))
    changed = {**sound, **{key: draw(likely(TABLES[name], key)) for key in keys}}
    for key in draw(st.lists(st.sampled_from(sorted(changed)), max_size=1)) if changed else []:
        del changed[key]
    if draw(st.integers(0, 15)) == 0:
        changed[draw(st.text(max_size=6))] = draw(values)
    return changed


@st.composite
def tables(draw: st.DrawFn) -> tuple[str, dict[str, Any]]:
    """The name of a file, and what is to stand in it."""
    spells = [draw(table("spell", {"stroke": "w", "length": 0.3, "side_sweep": 0.1, "minutes": 5}))]
    file = draw(st.sampled_from(("bench.toml", "programme.toml", "study.toml", "01/session.toml")))
    if file == "programme.toml":
        return file, {"spell": spells}
    if file == "01/session.toml":
        return file, draw(table("session", {"notes": "none"}))
    if file == "study.toml":
        axis = draw(table("axis", {"key": "hands.push", "list": ["20 N", "30 N"]}))
        about = draw(table("study", {"bench": "bench.toml", "keep": ["edge_roll"]}))
        return file, {"study": about, "spell": spells, "axis": [axis]}
    bench: dict[str, Any] = {
        "mirror": draw(table("mirror", {"diameter": "300 mm", "radius_of_curvature": "3 m"})),
        "lap": draw(table("lap", {"diameter": "280 mm", "mass": "4 kg"})),
        "figure": draw(table("figure", {"profile": "profile.csv"})),
    }
    for name in draw(st.lists(st.sampled_from(("hands", "wear", "spread", "light")), max_size=2, unique=True)):
        bench[name] = draw(table(name, {}))
    return file, bench


JUNK = (b"", b"nan", b"1e999", b"-", b"\0", b"\xff", b"9" * 5000)


@st.composite
def spoilt(draw: st.DrawFn) -> tuple[str, bytes]:
    """The name of a sound file, and its bytes with some of them replaced, left out or doubled."""
    file = draw(st.sampled_from(SPOILT))
    raw = bytearray(SOUND[file])
    for _ in range(draw(st.integers(1, 4))):
        at, length = draw(st.integers(0, max(0, len(raw) - 1))), draw(st.integers(0, 12))
        new = draw(
            st.one_of(
                st.binary(max_size=4), st.sampled_from((b"", b"nan", b"1e999", b"-", b"\0", b"\xff", b"9" * 5000))
            )
        )
        raw[at : at + length] = new
    return file, bytes(raw)


def _sound() -> dict[str, bytes]:
    """Every file of the folder that commands are let loose on."""
    tutorial, demo = EXAMPLES / "tutorial", EXAMPLES / "demo"
    study = '[study]\nbench = "bench.toml"\nprogramme = "programme.toml"\nkeep = ["edge_roll"]\n'
    return {
        "bench.toml": (demo / "bench.toml").read_bytes(), "profile.csv": (demo / "profile.csv").read_bytes(),
        "programme.toml": (demo / "programme.toml").read_bytes(), "readings.toml": (tutorial / "readings.toml").read_bytes(),
        "study.toml": (study + '[[axis]]\nkey = "hands.push"\nlist = ["20 N", "30 N"]\n').encode(),
        "01/programme.toml": (demo / "programme.toml").read_bytes(), "01/profile.csv": (demo / "profile.csv").read_bytes(),
        "01/session.toml": b"date = 2026-01-02\nlap = \"pressed\"\n",
    }  # fmt: skip


SOUND = _sound()
SPOILT = tuple(SOUND)
COMMANDS = (
    ("predict", "bench.toml", "-p", "programme.toml", "--dry-run"),
    ("predict", ".", "-p", "programme.toml", "--dry-run", "--engine", "planar"),
    ("mask", "bench.toml"), ("reduce", "readings.toml", "--bench", "bench.toml"),
    ("history", ".", "--dry-run"), ("calibrate", ".", "--dry-run"),
    ("compare", "bench.toml", "-p", "programme.toml", "--dry-run"),
    ("propose", "bench.toml", "--dry-run"), ("study", "study.toml", "-o", "../no folder/o.h5"),
    ("record", ".", "-p", "programme.toml", "--profile", "profile.csv", "--date", "2026-01-01"),
)  # fmt: skip
OF_FILE = {
    "bench.toml": COMMANDS, "profile.csv": COMMANDS[:3], "programme.toml": (COMMANDS[0], COMMANDS[6], COMMANDS[9]),
    "readings.toml": COMMANDS[3:4], "study.toml": COMMANDS[8:9], "01/programme.toml": COMMANDS[4:6],
    "01/profile.csv": COMMANDS[4:6], "01/session.toml": (COMMANDS[1], COMMANDS[4], COMMANDS[9]),
}  # fmt: skip


@contextlib.contextmanager
def folder_with(file: str, content: bytes) -> Iterator[Path]:
    """A mirror's folder as the current one, one of its files as given, a pipe among them."""
    before = Path.cwd()
    with tempfile.TemporaryDirectory() as name:
        place = Path(name) / "mirror"
        (place / "01").mkdir(parents=True)
        for sound, raw in SOUND.items():
            (place / sound).write_bytes(content if sound == file else raw)
        os.mkfifo(place / "fifo")
        os.chdir(place)
        try:
            yield place
        finally:
            os.chdir(before)
            shutil.rmtree(place, ignore_errors=True)


def check(file: str, content: bytes, pick: int) -> None:
    """Let a command loose on the folder, and look at how it ends."""
    command = OF_FILE[file][pick % len(OF_FILE[file])]
    with folder_with(file, content) as place:
        there = sorted(place.rglob("*"))
        out, err = io.StringIO(), io.StringIO()
        signal.signal(signal.SIGALRM, _too_long)
        signal.alarm(PATIENCE)
        try:
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                code = run(command)
        finally:
            signal.alarm(0)
        assert code in (0, 1, 2, 130), (command, code)
        failed = [line for line in err.getvalue().splitlines() if line.startswith("wearsim: ")]
        assert len(failed) == (code != 0) and "Traceback" not in err.getvalue(), (command, err.getvalue())
        assert "nan" not in out.getvalue().lower().split(), (command, out.getvalue())
        left = {path for path in place.rglob("*") if path not in there}
        assert not left or (command[0] == "record" and code == 0), (command, left)


def _too_long(*_: object) -> None:
    raise AssertionError(f"a call of more than {PATIENCE} s")


def test_tables_of_the_schemas() -> None:
    from_schemas(100)()


def test_spoilt_bytes() -> None:
    from_bytes(100)()


@pytest.mark.slow
def test_more_tables_of_the_schemas() -> None:
    from_schemas(1000)()


@pytest.mark.slow
def test_more_spoilt_bytes() -> None:
    from_bytes(1000)()


def from_schemas(count: int) -> Any:
    """So many cases of :func:`tables`."""

    @settings(max_examples=count, suppress_health_check=list(HealthCheck))
    @given(tables(), st.integers(0, 9))
    def cases(drawn: tuple[str, dict[str, Any]], pick: int) -> None:
        file, content = drawn
        try:
            raw = tomli_w.dumps(content).encode()
        except (ValueError, TypeError, UnicodeEncodeError):  # such as a lone surrogate: no file can hold it
            return
        check(file, raw, pick)

    return cases


def from_bytes(count: int) -> Any:
    """So many cases of :func:`spoilt`."""

    @settings(max_examples=count, suppress_health_check=list(HealthCheck))
    @given(spoilt(), st.integers(0, 9))
    def cases(drawn: tuple[str, bytes], pick: int) -> None:
        check(*drawn, pick)

    return cases
