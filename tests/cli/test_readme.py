"""What the README says can be done is done, as it is written."""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import typer

from wearsim.bench.files import load_bench, load_programme
from wearsim.cli.main import app

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = [
    shlex.split(call)
    for block in re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    for call in re.findall(r"\.venv/bin/wearsim ([^\n&]*)", block)
]
THERE = typer.main.get_command(app).commands  # type: ignore[attr-defined]


@pytest.fixture
def checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """What the README's commands and snippets find in a checkout."""
    shutil.copytree(ROOT / "examples" / "demo", tmp_path / "examples" / "demo")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_it_has_the_daily_questions() -> None:
    assert {arguments[0] for arguments in COMMANDS} >= {"propose", "predict", "compare"}


@pytest.mark.parametrize("arguments", [a for a in COMMANDS if a[0] in THERE], ids=" ".join)
def test_its_commands_run(arguments: list[str], checkout: Path, call: Callable[..., Any]) -> None:
    called = call(*arguments)
    assert called.code == 0, called.err
    for flag in ("--plot", "-o"):
        if flag in arguments:
            assert (checkout / arguments[arguments.index(flag) + 1]).stat().st_size > 0


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
