"""The options that all commands share, and what they say beside the answer."""

from __future__ import annotations

import io
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import typer

from wearsim import __version__
from wearsim.cli.main import TOP_EXAMPLE, app
from wearsim.cli.terminal import Messages
from wearsim.errors import ContactError

Call = Callable[..., Any]

COMMANDS = sorted(typer.main.get_command(app).commands)  # type: ignore[attr-defined]
HEAVY = ("numba", "scipy", "pint", "matplotlib", "h5py", "numpy", "rich", "tomli_w")
QUICK = ("--programme", "programme.toml", "--draws", "2")


def example_of(text: str) -> str:
    """The example that a help begins with."""
    found = re.match(r"Example:\n  (wearsim [^\n]*)\n\nUsage: wearsim", text)
    assert found, text
    return found.group(1)


def listing(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.mark.parametrize("command", [(), *((name,) for name in COMMANDS)])
def test_help_begins_with_an_example_and_fits_80_columns(command: tuple[str, ...], call: Call) -> None:
    called = call(*command, "--help")
    assert called.code == 0
    assert called.err == ""
    assert example_of(called.out).split()[1:2] == list(command or ("predict",))
    assert max(map(len, called.out.splitlines())) <= 80


def test_no_command_at_all_shows_the_help(call: Call) -> None:
    called = call()
    assert called.code == 0
    assert example_of(called.out) == TOP_EXAMPLE
    assert all(f"  {name} " in called.out for name in COMMANDS)


def test_the_list_of_commands_says_each_in_whole(call: Call) -> None:
    called = call("--help")
    assert "..." not in called.out.partition("Commands:")[2]
    assert "  Begin with: wearsim new my-mirror\n" in called.out
    assert " wearsim propose raised-zone-300\n" in called.out


@pytest.mark.parametrize("command", ["predict", "compare"])
def test_the_example_of_the_help_runs_as_written(command: str, call: Call, demo: Path) -> None:
    arguments = shlex.split(example_of(call(command, "--help").out))[1:]
    assert call(*arguments, "--draws", "2").code == 0
    assert (demo / "out.png").stat().st_size > 10_000


def test_version(call: Call) -> None:
    called = call("--version")
    assert (called.code, called.out, called.err) == (0, f"wearsim {__version__}\n", "")


@pytest.mark.parametrize("arguments", [[], ["--help"], ["predict", "--help"]])
def test_help_imports_nothing_heavy(arguments: list[str]) -> None:
    code = (
        "import sys, wearsim.cli.main as m\n"
        f"m.run({arguments!r}) if {arguments!r} else None\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"


def test_a_prediction_loads_no_more_than_it_needs() -> None:
    slow = ("scipy.interpolate", "scipy.optimize", "scipy.special", "scipy.stats", "matplotlib", "h5py", "rich")
    code = (
        "import sys, wearsim.bench.toml_io, wearsim.cli.predict, wearsim.show.outcome, wearsim.wear.predict\n"
        f"print([name for name in {slow!r} if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_runs_as_a_module() -> None:
    done = subprocess.run([sys.executable, "-m", "wearsim", "predict"], capture_output=True, text=True)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr == "wearsim: Missing argument 'BENCH' (see wearsim predict --help)\n"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["predcit"], "predcit"),
        (["-q", "propose"], "put options after the command, as in wearsim propose bench.toml -q"),
        (["predict"], "BENCH"),
        (["predict", "bench.toml"], "--programme"),
        (["predict", "bench.toml", *QUICK, "--no-such"], "--no-such"),
        (["predict", "bench.toml", *QUICK, "--engine", "guess"], "guess"),
        (["predict", "bench.toml", "-p", "programme.toml", "--draws", "many"], "--draws"),
        (["predict", "bench.toml", "-p", "programme.toml", "--draws", "-1"], "--draws"),
        (["predict", "bench.toml", *QUICK, "--seed", "-3"], "--seed"),
        (["compare", "bench.toml", "extra", *QUICK], "extra"),
        (["predict", "missing.toml", *QUICK], "missing.toml"),
        (["predict", "bench.toml", "-p", "missing.toml"], "missing.toml"),
        (["predict", "folder.h5", *QUICK], "bench.toml"),
        (["compare", "profile.csv", *QUICK], "profile.csv"),
        (["predict", "bench.toml", *QUICK, "--plot", "out.jpg"], ".png, .svg, .pdf"),
        (["predict", "bench.toml", *QUICK, "-o", "out.txt"], ".h5"),
        (["compare", "bench.toml", *QUICK, "-o", "out.h5"], ".json"),
        (["predict", "bench.toml", *QUICK, "--plot", "nowhere/out.png"], "folder does not exist"),
        (["predict", "bench.toml", *QUICK, "-o", "there.h5"], "--force"),
        (["predict", "bench.toml", *QUICK, "-o", "folder.h5", "--force"], "folder.h5"),
    ],
)
def test_bad_input_is_one_line_and_exit_2(arguments: list[str], said: str, call: Call, demo: Path) -> None:
    (demo / "there.h5").write_bytes(b"mine")
    before = listing(demo)
    (demo / "folder.h5").mkdir()
    called = call(*arguments)
    (demo / "folder.h5").rmdir()
    assert called.code == 2
    assert called.out == ""
    assert called.err.startswith("wearsim: ") and called.err.count("\n") == 1
    assert said in called.err
    assert listing(demo) == before


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["propose", "bench.toml", "--minutes", "abc"], "--minutes"),
        (["propose", "bench.toml", "--minutes=abc"], "abc"),
        (["propose", "bench.toml", "--spells", "2.5"], "2.5"),
        (["propose", "bench.toml", "--on-top", "both"], "both"),
        (["propose", "bench.toml", "--minutes", "-5"], "wearsim: --minutes: out of range, got -5"),
        (["propose", "bench.toml", "--rate", "0"], "wearsim: --rate: out of range"),
        (["propose", "bench.toml", "--time-limit", "0"], "wearsim: --time-limit: out of range"),
        (["rehearse", "toy", "--minutes", "0"], "wearsim: --minutes: out of range"),
        (["rehearse", "toy", "--focal-ratio", "f/40"], "wearsim: --focal-ratio: out of range"),
        (["mask", "bench.toml", "--zones", "30"], "wearsim: --zones: with this many windows"),
        (["mask", "bench.toml", "-o", "no/mask.pdf"], "does not exist; expected a path in an existing folder"),
        (["new", "no/mine", "--diameter", "8 in"], "does not exist; expected a path in an existing folder"),
        (["rehearse", "no/mine"], "does not exist; expected a path in an existing folder"),
    ],
)
def test_a_wrong_value_is_told_with_its_flag_in_plain_words(
    arguments: list[str], says: str, call: Call, demo: Path
) -> None:
    before = listing(demo)
    called = call(*arguments)
    assert (called.code, called.out, called.err.count("\n")) == (2, "", 1)
    assert says in called.err
    assert "Input should be" not in called.err and "Value error" not in called.err
    assert listing(demo) == before


@pytest.mark.parametrize("command", ["predict", "compare"])
def test_a_failure_writes_nothing(command: str, call: Call, demo: Path, tipping: Path) -> None:
    before = listing(demo)
    output = "out.h5" if command == "predict" else "out.json"
    called = call(command, "bench.toml", "-p", tipping.name, "-o", output, "--plot", "out.png", "--json")
    assert called.code == 2
    assert called.out == ""
    assert "tips off" in called.err
    assert listing(demo) == before


def test_a_failed_plot_leaves_no_output_either(call: Call, demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("wearsim.show.style.save", full)
    before = listing(demo)
    called = call("predict", "bench.toml", *QUICK, "-o", "out.h5", "--plot", "out.png")
    assert called.code == 1
    assert called.out == ""
    assert "No space left" in called.err
    assert listing(demo) == before


def test_could_not_is_exit_1(call: Call, demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def unbalanced(*_: object, **__: object) -> None:
        raise ContactError("spell 1", 0.5)

    monkeypatch.setattr("wearsim.wear.predict.predict", unbalanced)
    called = call("predict", "bench.toml", *QUICK)
    assert (called.code, called.out) == (1, "")
    assert called.err.splitlines()[-1].startswith("wearsim: the forces between the two pieces could not be balanced")


def test_interrupted_is_exit_130(call: Call, demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("wearsim.wear.predict.predict", stopped)
    called = call("predict", "bench.toml", *QUICK)
    assert (called.code, called.out) == (130, "")
    assert called.err.splitlines()[-1] == "wearsim: interrupted"


def test_debug_keeps_the_traceback(call: Call, demo: Path) -> None:
    plain = call("predict", "missing.toml", *QUICK)
    debug = call("predict", "missing.toml", *QUICK, "--debug")
    assert (plain.code, debug.code) == (2, 2)
    assert "Traceback" not in plain.err
    assert debug.err.startswith("Traceback") and debug.err.endswith(plain.err)


def test_programming_faults_keep_their_traceback(call: Call, demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def faulty(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("wearsim.wear.predict.predict", faulty)
    with pytest.raises(ZeroDivisionError):
        call("predict", "bench.toml", *QUICK)


@pytest.mark.parametrize(("output", "kind"), [("out.png", "--plot"), ("out.h5", "-o")])
def test_replaces_a_file_with_force_alone(output: str, kind: str, call: Call, demo: Path) -> None:
    (demo / output).write_bytes(b"mine")
    refused = call("predict", "bench.toml", *QUICK, kind, output)
    assert (refused.code, (demo / output).read_bytes()) == (2, b"mine")
    done = call("predict", "bench.toml", *QUICK, kind, output, "--force")
    assert done.code == 0
    assert (demo / output).read_bytes()[:4] in (b"\x89PNG", b"\x89HDF")


def test_never_replaces_what_it_reads(call: Call, demo: Path) -> None:
    (demo / "programme.json").write_bytes((demo / "programme.toml").read_bytes())
    before = listing(demo)
    called = call("compare", "bench.toml", "-p", "programme.json", "-o", "programme.json", "--force")
    assert called.code == 2
    assert listing(demo) == before


def test_quiet_says_nothing_but_the_answer(call: Call, demo: Path) -> None:
    loud, quiet = call("predict", "bench.toml", *QUICK), call("predict", "bench.toml", *QUICK, "-q")
    assert quiet.err == ""
    assert quiet.out == loud.out


def test_says_its_defaults_cautions_and_the_next_step(call: Call, demo: Path) -> None:
    called = call("predict", "bench.toml", *QUICK)
    uncommon = "Spell 3 is not among the common strokes (docs/theory/search.md): 0.2 D long (at least 0.25 D)."
    assert uncommon in " ".join(called.err.split())
    assert "lap: pitch thickness 5 mm, stiffness 5e9 Pa/m" in called.err
    assert "no published value" not in called.err
    assert called.err.splitlines()[-3].startswith("Caution: ")
    assert called.err.splitlines()[-1] == "Next: wearsim compare bench.toml --programme programme.toml"
    assert max(map(len, called.err.splitlines())) <= 80


def test_verbose_says_where_defaults_come_from(call: Call, demo: Path) -> None:
    called = call("predict", "bench.toml", *QUICK, "-v")
    words = " ".join(called.err.split())
    assert "hands.friction = 0.15: judgement: friction about 0.15" in words
    assert "Hot pitch burns:" in words
    said = " ".join(called.out.split())
    assert "Rim's width" in said and "the height has fallen to half" in said
    assert max(map(len, called.err.splitlines())) <= 80


@pytest.mark.parametrize("compiled", [True, False])
def test_the_first_call_ever_says_that_it_compiles(
    compiled: bool, call: Call, demo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("wearsim.kernels._jit.is_compiled", lambda: compiled)
    assert ("compiling" in call("predict", "bench.toml", *QUICK).err) is not compiled


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize("no_color", ["", "1"])
def test_no_color_is_heard_at_a_terminal(no_color: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", no_color)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(sys, "stderr", Terminal())
    Messages().warn("near tipping")
    text = sys.stderr.getvalue()  # type: ignore[attr-defined]
    assert ("\x1b[" in text) is (no_color == "")
    assert re.sub(r"\x1b\[\d*m", "", text) == "Warning: near tipping\n"


def test_progress_shows_at_a_terminal_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    with Messages().searching() as report:
        assert report is None
    assert sys.stderr.getvalue() == ""
    monkeypatch.setattr(sys, "stderr", Terminal())
    with Messages().searching() as report:
        assert report is not None
        report("whole minutes", 24e-9)
    assert "whole minutes: best so far 24 nm RMS" in sys.stderr.getvalue()
    monkeypatch.setattr(sys, "stderr", Terminal())
    with Messages(quiet=True).searching() as report:
        assert report is None


def test_nothing_moves_and_nothing_is_coloured_away_from_a_terminal(call: Call, demo: Path) -> None:
    called = call("predict", "bench.toml", *QUICK)
    assert not re.search(r"[\x1b\r]", called.out + called.err)


def test_a_reader_that_leaves_is_no_fault_of_ours(demo: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    command = [sys.executable, "-m", "wearsim", "predict", "bench.toml", *QUICK, "-q"]
    with subprocess.Popen(
        command, cwd=demo, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment
    ) as process:
        assert process.stdout is not None and process.stderr is not None
        process.stdout.close()
        said = process.stderr.read()
    assert said == ""
    assert process.returncode == 1
