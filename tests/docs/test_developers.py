"""DEVELOPERS.md speaks of files and names that are there, and its examples do what it says."""

from __future__ import annotations

import re
import textwrap
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from wearsim.bench.input_errors import read_piece
from wearsim.bench.materials import Glass

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
FRAGMENTS = re.findall(r"```py\n(.*?)```", TEXT, re.DOTALL)
PLACES = re.findall(r"^# (wearsim/[\w/]+\.py): ([\w, ]+)$", "\n".join(FRAGMENTS), re.MULTILINE)
PATHS = sorted(set(re.findall(r"`((?:wearsim|tests|docs|configs)/[\w/.-]*)`", TEXT)))


def test_examples_are_short() -> None:
    assert len(FRAGMENTS) >= 4
    assert max(fragment.count("\n") for fragment in FRAGMENTS) <= 10


@pytest.mark.parametrize(("file", "names"), PLACES)
def test_every_place_named_is_there(file: str, names: str) -> None:
    source = (ROOT / file).read_text(encoding="utf-8")
    for name in names.split(", "):
        assert re.search(rf"^\s*(def |class )?{name}\b", source, re.MULTILINE), f"{name} in {file}"


@pytest.mark.parametrize("path", PATHS)
def test_every_file_named_is_there(path: str) -> None:
    assert (ROOT / path).exists()


def test_every_room_is_on_the_map() -> None:
    rooms = {path.parent.name for path in (ROOT / "wearsim").glob("*/__init__.py")}
    assert rooms == set(re.findall(r"^\| `wearsim/(\w+)/`", TEXT, re.MULTILINE))


def test_its_glass_is_one() -> None:
    (table,) = (text for text in re.findall(r"```toml\n(.*?)```", TEXT, re.DOTALL) if "density" in text)
    ((name, glass),) = tomllib.loads(table).items()
    assert read_piece(Glass, glass, name, None).density == 2510.0


def test_the_axis_it_names_is_the_key_it_adds() -> None:
    (axis,) = (text for text in re.findall(r"```toml\n(.*?)```", TEXT, re.DOTALL) if "[[axis]]" in text)
    key = tomllib.loads(axis)["axis"][0]["key"].partition(".")
    added = next(fragment for fragment in FRAGMENTS if f" {key[2]}:" in fragment)
    assert f"wearsim/bench/{key[0]}.py" in added


NAMED = re.findall(r"((?:`[\w.]+`[^`.:;]{1,40})+)of\s`((?:wearsim|tests)/[\w/]+\.py)`", TEXT)


@pytest.mark.parametrize(("names", "file"), NAMED, ids=[file for _, file in NAMED])
def test_every_name_of_a_file_is_in_it(names: str, file: str) -> None:
    source = (ROOT / file).read_text(encoding="utf-8")
    for name in re.findall(r"`([\w.]+)`", names):
        for part in name.split("."):
            assert re.search(rf"^\s*(def |class )?{part}\b", source, re.MULTILINE), f"{name} in {file}"


def test_names_of_files_are_found() -> None:
    assert {"wearsim/decide/stroke_library.py", "tests/kernels/kernel_twins.py"} <= {file for _, file in NAMED}


def lines_for(place: str) -> str:
    """What DEVELOPERS.md adds to a branch on the kind of a stroke, as code of its own."""
    (body,) = (
        body
        for name, body in re.findall(r"^# \S+: (\w+)\n((?:    .*\n)+)", "".join(FRAGMENTS), re.MULTILINE)
        if name == place
    )
    head, *rest = body.splitlines()
    assert head.startswith("    elif ")
    return textwrap.dedent("\n".join(rest))


def test_its_stroke_is_the_same_path_three_times() -> None:
    """In the kernel, as arrays for the planar engine, and drawn; velocities are what places change by."""
    sweep, frequency = 0.03, 0.8
    phases = np.linspace(0.0, 1.0, 4001)
    kernel: dict[str, Any] = {"np": np, "sweep": sweep, "phase": phases, "out": np.zeros((4, phases.size))}
    arrays: dict[str, Any] = {"np": np, "sweep": sweep, "phase": 2.0 * np.pi * phases, "y": 0.0 * phases}
    arrays |= {"vy": 0.0 * phases, "rate": 2.0 * np.pi * frequency}
    drawn: dict[str, Any] = {"np": np, "turns": phases}
    for place, names in (("pose_at", kernel), ("place_on_path", arrays), ("stroke_path", drawn)):
        exec(lines_for(place), names)
    out, y = kernel["out"], arrays["y"]
    np.testing.assert_allclose(out[1], y, atol=1e-15)
    np.testing.assert_allclose(sweep * drawn["side"], y, atol=1e-15)
    np.testing.assert_allclose(frequency * out[3], arrays["vy"], atol=1e-13)
    np.testing.assert_allclose(np.gradient(y, phases, edge_order=2), out[3], atol=1e-6 * np.abs(out[3]).max() * 10)
