"""``--engine planar`` of ``predict`` and ``compare``: the answer, the files, the bar, Ctrl-C."""

from __future__ import annotations

import json
import os
import pty
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import wearsim as ws
from wearsim.wear.accuracy import PlanarAccuracy

Call = Callable[..., Any]
PLANAR = ("--programme", "short.toml", "--engine", "planar", "--cells", "32")
SHORT = """
[[spell]]
stroke = "press"
minutes = 1
[[spell]]
stroke = "w"
length = 0.3
side_sweep = 0.2
minutes = 0.5
[[spell]]
stroke = "straight"
length = 0.25
minutes = 0.5
turn = "72 deg"
"""


@pytest.fixture(autouse=True)
def session(demo: Path) -> Path:
    """The demo with a short programme that turns the mirror."""
    (demo / "short.toml").write_text(SHORT)
    return demo


def test_the_object_says_what_python_says_and_has_no_band(call: Call) -> None:
    called = call("predict", "bench.toml", *PLANAR, "--json", "--seed", "3")
    assert called.code == 0, called.err
    bench = ws.load_bench("bench.toml")
    programme = ws.load_programme("short.toml")
    outcome = ws.predict(bench, programme, "planar", seed=3, planar=PlanarAccuracy(cells=32))
    answer = json.loads(called.out)
    assert answer.pop("risks")
    assert answer == json.loads(json.dumps(outcome.to_json()))
    assert "figure_error_band_m" not in answer
    # two spells of equal length, 72 degrees apart: |1 + exp(-2i 72 deg)| / 2 = cos 72 deg
    assert answer["details"]["steady_bias_left"] == pytest.approx(0.309017, abs=1e-6)


def test_another_seed_walks_other_strokes(call: Call) -> None:
    one, other = (json.loads(call("predict", "bench.toml", *PLANAR, "--json", "--seed", seed).out) for seed in "34")
    assert one["removal_m"] != other["removal_m"]


def test_a_band_where_draws_are_asked_for(call: Call) -> None:
    answer = json.loads(call("predict", "bench.toml", *PLANAR, "--json", "--draws", "3").out)
    low, high = answer["surface_rms_band_m"]
    assert answer["band_draws"] == 3 and low < high
    plain = json.loads(call("predict", "bench.toml", *PLANAR, "--json").out)
    assert plain["removal_m"] == answer["removal_m"]


def test_output_loads_back_into_an_equal_outcome(call: Call) -> None:
    assert call("predict", "bench.toml", *PLANAR, "-o", "out.h5", "--plot", "out.png").code == 0
    bench, programme = ws.load_bench("bench.toml"), ws.load_programme("short.toml")
    assert ws.read_outcome("out.h5") == ws.predict(bench, programme, "planar", planar=PlanarAccuracy(cells=32))
    assert Path("out.png").read_bytes().startswith(b"\x89PNG")


def test_table_tells_what_is_not_round_and_what_turning_does(call: Call) -> None:
    out = call("predict", "bench.toml", *PLANAR).out
    lines = out.splitlines()
    assert max(map(len, lines)) <= 80 and out.isascii()
    assert any(line.startswith("Astigmatism, RMS") for line in lines)
    assert "The largest pressure was at x " in out
    turned = [line.split() for line in lines if line.split()[1:3] == ["72", "deg"]]
    assert turned and turned[0][0] == "3" and turned[0][-1] == "31%"
    # five turns of 72 degrees cancel, of 180 never do
    shares = {line.split()[0]: line.split()[5] for line in lines if line.endswith("%") and " deg  " in line[10:22]}
    assert shares["72"] == "0%" and shares["180"] == "100%"


def test_nothing_is_said_of_turning_where_nothing_is_turned(call: Call) -> None:
    Path("short.toml").write_text(SHORT.replace('turn = "72 deg"\n', ""))
    out = call("predict", "bench.toml", *PLANAR).out
    assert "Astigmatism, RMS" in out and "Turned each time" not in out
    Path("none.toml").write_text("")
    called = call("predict", "bench.toml", "-p", "none.toml", *PLANAR[2:], "--plot", "none.png")
    assert called.code == 0 and "No glass is removed." in called.out


def test_compare_walks_both_ways(call: Call) -> None:
    called = call("compare", "bench.toml", *PLANAR, "--json", "--plot", "both.png")
    assert called.code == 0, called.err
    answer = json.loads(called.out)
    assert answer["tool"]["engine"] == answer["mirror"]["engine"] == "planar"
    assert answer["tool"]["removal_m"] != answer["mirror"]["removal_m"]
    assert Path("both.png").stat().st_size > 10_000


def test_cells_are_of_the_planar_engine_alone(call: Call) -> None:
    called = call("predict", "bench.toml", "-p", "short.toml", "--cells", "64")
    assert called.code == 2 and "--cells: only the planar engine uses this" in called.err


@pytest.mark.parametrize(
    ("keys", "said"),
    [('ring_inner = "80 mm"', "lap.ring_inner"), ('star_points = 6\nstar_depth = "30 mm"', "lap.star_points")],
)
@pytest.mark.parametrize("command", [("predict", "-p", "short.toml"), ("propose", "--minutes", "10")])
def test_rings_and_stars_are_the_planar_engines(call: Call, keys: str, said: str, command: tuple[str, ...]) -> None:
    text = Path("bench.toml").read_text().replace('pitch = "medium"', f'pitch = "medium"\n{keys}')
    Path("bench.toml").write_text(text)
    called = call(command[0], "bench.toml", *command[1:])
    assert called.code == 2 and called.err.count("\n") == 1, called.err
    assert f"bench.toml: {said}: only the planar engine uses this" in called.err
    if command[0] == "predict":
        assert call("predict", "bench.toml", *PLANAR).code == 0


def started(*arguments: str, stderr: int) -> subprocess.Popen[bytes]:
    """``wearsim`` as a process of its own."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "TERM": "xterm"}
    command = [sys.executable, "-m", "wearsim", *arguments]
    return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=stderr, env=environment, preexec_fn=_hear_ctrl_c)


def _hear_ctrl_c() -> None:
    """What a shell starts in the background is deaf to Ctrl-C, and so are its children."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def listing(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_ctrl_c_while_it_works_leaves_nothing(session: Path) -> None:
    """At a terminal: the bar is seen to move, then it is interrupted."""
    (session / "long.toml").write_text('[[spell]]\nstroke = "w"\nlength = 0.3\nside_sweep = 0.2\nminutes = 2000\n')
    before = listing(session)
    here, there = pty.openpty()
    process = started(
        "predict", "bench.toml", "-p", "long.toml", "--engine", "planar", "-o", "out.h5", "--plot", "out.png",
        stderr=there,
    )  # fmt: skip
    os.close(there)
    seen = b""
    while b"%" not in seen:
        seen += os.read(here, 4096)
    process.send_signal(signal.SIGINT)
    seen += _rest(here)
    assert process.wait() == 130
    assert b"predicting" in seen and b"wearsim: interrupted" in seen
    assert listing(session) == before


def test_many_draws_are_forecast_in_time_and_can_be_stopped(session: Path) -> None:
    """Hours of work, away from a terminal: it is said while the first of 2002 runs is at work."""
    before = listing(session)
    process = started(
        "compare", "bench.toml", "-p", "short.toml", "--engine", "planar", "--draws", "1_000", "-o", "out.json",
        "--plot", "out.png", stderr=subprocess.PIPE,
    )  # fmt: skip
    assert process.stderr is not None
    said = b""
    while b"This will take about " not in said:
        said = process.stderr.readline()
        assert said, "it ended, and nothing was said"
    process.send_signal(signal.SIGINT)
    _, rest = process.communicate(timeout=60.0)
    assert process.returncode == 130
    assert rest == b"wearsim: interrupted\n"
    assert listing(session) == before


@pytest.mark.parametrize(("draws", "expected"), [("10_001", "at most 10000"), ("-1", "at least 0")])
def test_draws_are_bounded(draws: str, expected: str, call: Call) -> None:
    called = call("compare", "bench.toml", "-p", "short.toml", "--engine", "planar", "--draws", draws)
    assert called.code == 2 and f"expected {expected}" in called.err and called.err.count("\n") == 1


def _rest(terminal: int) -> bytes:
    """What is still said until the other end is closed."""
    seen = b""
    while True:
        try:
            part = os.read(terminal, 4096)
        except OSError:  # a terminal that nobody holds any more
            part = b""
        if not part:
            os.close(terminal)
            return seen
        seen += part


def test_ctrl_c_while_it_writes_leaves_no_half_file(session: Path) -> None:
    (session / "none.toml").write_text("")
    before = listing(session)
    process = started(
        "predict", "bench.toml", "-p", "none.toml", "--engine", "planar", "--cells", "400", "-o", "out.h5",
        stderr=subprocess.PIPE,
    )  # fmt: skip
    while not list(session.glob(".wearsim-*.partial")):
        assert process.poll() is None
        time.sleep(0.001)
    process.send_signal(signal.SIGINT)
    _, said = process.communicate()
    assert process.returncode == 130
    assert said.endswith(b"wearsim: interrupted\n") and b"Traceback" not in said
    assert listing(session) == before
