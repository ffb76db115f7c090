"""What the README says can be done is done, as it is written."""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from refresh_readme import numbers, pairs, printed_by, skeleton

from wearsim.bench.toml_io import load_bench, load_programme

ROOT = Path(__file__).parents[2]

README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = [
    shlex.split(call)
    for block in re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    for call in re.findall(r"\.venv/bin/wearsim ([^\n&]*)", block)
]
SHOWN = [shlex.split(command)[1:] for pair in pairs(README) for command in pair.commands]


@pytest.fixture
def checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, searched_once: None) -> Path:
    """What the README's commands and snippets find in a checkout."""
    shutil.copytree(ROOT / "examples", tmp_path / "examples", ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_it_has_the_daily_questions() -> None:
    assert {arguments[0] for arguments in COMMANDS} >= {"propose", "predict", "compare"}


def left_files(arguments: list[str], folder: Path) -> bool:
    """Whether the files that a command was to write are there."""
    flags = [flag for flag in ("--plot", "-o") if flag in arguments]
    return all((folder / arguments[arguments.index(flag) + 1]).stat().st_size > 0 for flag in flags)


@pytest.mark.parametrize("arguments", [a for a in COMMANDS if a not in SHOWN], ids=" ".join)
def test_its_commands_run(arguments: list[str], checkout: Path, call: Callable[..., Any]) -> None:
    called = call(*arguments)
    assert called.code == 0, called.err
    assert left_files(arguments, checkout)


@pytest.mark.parametrize("pair", pairs(README), ids=lambda pair: shlex.split(pair.commands[0])[1])
def test_it_shows_what_its_commands_print(pair: Any, checkout: Path) -> None:
    """Words as they are; numbers, where no search chose them, to a few per cent (other machines round otherwise)."""
    now, shown = printed_by(pair.commands).splitlines(), pair.printed.splitlines()
    assert len(shown) > 10, "python docs/refresh_readme.py writes the outputs"
    assert left_files(shlex.split(pair.commands[0]), checkout)
    if "propose" in pair.commands[0]:
        plain = [line for line in shown if line.strip() and not numbers(line) and "Warning" not in line]
        assert plain and {skeleton(line) for line in plain} <= {skeleton(line) for line in now}
        return
    assert [skeleton(line) for line in now] == [skeleton(line) for line in shown]
    for new, old in zip(map(numbers, now), map(numbers, shown), strict=True):
        assert new == pytest.approx(old, rel=0.06, abs=2.5)


def test_its_picture_is_there() -> None:
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", README)
    assert pictures and all((ROOT / picture).stat().st_size > 10_000 for picture in pictures)


def test_what_it_points_at_is_there() -> None:
    for name in re.findall(r"`((?:docs|examples|configs)/[\w./-]*|[A-Z]+\.md|LICENSE)`", README):
        assert (ROOT / name).exists(), name


def test_its_python_runs(checkout: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (snippet,) = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
    exec(compile(snippet, "README.md", "exec"), {})
    rms, strehl, _ = map(float, capsys.readouterr().out.split())
    assert 0.0 < rms < 1e-6 and 0.0 < strehl <= 1.0


def test_its_bench_loads(checkout: Path) -> None:
    (table,) = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
    (checkout / "bench.toml").write_text(table)
    (checkout / "profile.csv").write_text("radius_in,error_nm\n0,0\n2,30\n4,0\n")
    assert load_bench("bench.toml").mirror.diameter == 0.2032


def test_the_demo_says_that_it_is_invented(checkout: Path) -> None:
    demo = checkout / "examples" / "demo"
    bench = load_bench(demo / "bench.toml")
    assert len(load_programme(demo / "programme.toml", bench).spells) == 3
    assert all("nvented" in path.read_text().partition("\n\n")[0] for path in demo.iterdir())
