"""What the README says can be done is done, as it is written."""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from cogapp import Cog

from wearsim.bench.toml_io import load_bench, load_programme

ROOT = Path(__file__).parents[2]

README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = [
    shlex.split(call)
    for block in re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    for call in re.findall(r"\.venv/bin/wearsim ([^\n&]*)", block)
]
SHOWN = [shlex.split(command) for command in re.findall(r'shown\.printed_by\("([^"]+)"', README)]
SERVES = "page"
"""The command that does not end by itself: tests/page."""
BLOCK = re.compile(r"^```text\n(.*?)^```$", re.MULTILINE | re.DOTALL)


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


@pytest.mark.parametrize("arguments", [a for a in COMMANDS if a not in SHOWN and a[0] != SERVES], ids=" ".join)
def test_its_commands_run(arguments: list[str], checkout: Path, call: Callable[..., Any]) -> None:
    called = call(*arguments)
    assert called.code == 0, called.err
    assert left_files(arguments, checkout)


def skeleton(line: str) -> str:
    """A line without its numbers, bars and the blanks that they move."""
    return " ".join(re.sub(r"[-+]?\d[\d.]*|[#|o]+(?=\s|$)", "", line).split())


def numbers(line: str) -> list[float]:
    """The numbers of a line."""
    return [float(found) for found in re.findall(r"(?<![\w.])[-+]?\d+(?:\.\d+)?", line)]


def test_it_shows_what_its_commands_print(searched_once: None) -> None:
    """Words as they are; numbers, where no search chose them, to a few per cent (other machines round otherwise)."""
    fresh = Cog().process_string(README, "README.md")
    assert BLOCK.sub("", fresh) == BLOCK.sub("", README)
    was, now = ([block.splitlines() for block in BLOCK.findall(text)] for text in (README, fresh))
    assert len(SHOWN) == len(was) and min(map(len, was)) > 8 and max(map(len, was)) < 40
    for command, shown, printed in zip(SHOWN, was, now, strict=True):
        if "propose" in command:
            plain = {skeleton(line) for line in shown if line.strip() and not numbers(line)}
            assert plain and plain <= {skeleton(line) for line in printed}
            continue
        assert [skeleton(line) for line in printed] == [skeleton(line) for line in shown]
        for new, old in zip(map(numbers, printed), map(numbers, shown), strict=True):
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
