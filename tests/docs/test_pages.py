"""What pages show is what the code gives: tables, snippets, files, names of commands and of what can be imported.

The commands of pages are run by the build of the documentation, which fails where one does.
"""

from __future__ import annotations

import os
import pkgutil
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import tomli_w
import typer
from cogapp import Cog

import wearsim
from tests.kernels.test_new_stroke import ADDED
from wearsim.cli.main import app, run

ROOT = Path(__file__).parents[2]
PAGES = {
    str(path.relative_to(ROOT)): path.read_text(encoding="utf-8")
    for path in sorted(ROOT.glob("docs/**/*.md"))
    if "generated" not in path.parts and "_build" not in path.parts
}
# tests/docs/test_validation_page.py and test_tutorial.py hold those pages, and a slow test here the turned edge
LONG = ("docs/validation.md", "docs/tutorial.md", "docs/theory/turned-edge.md")
TABLES = [page for page, text in PAGES.items() if "[[[cog" in text and page not in LONG]
SNIPPET = re.compile(r"^(<!-- not run: [^>]+ -->\n)?```python\n(.*?)^```$", re.MULTILINE | re.DOTALL)
SNIPPETS = {page: found for page, text in PAGES.items() if (found := SNIPPET.findall(text))}


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the examples, in the current folder."""
    shutil.copytree(ROOT / "examples", tmp_path / "examples", ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("page", TABLES)
def test_its_tables_are_current(page: str) -> None:
    fresh = Cog().process_string(PAGES[page], page)
    assert fresh == PAGES[page], "cog brings them up to date; DEVELOPERS.md says how"


@pytest.mark.slow
def test_the_turned_edge_is_current() -> None:
    test_its_tables_are_current("docs/theory/turned-edge.md")


def test_there_are_tables_and_snippets_on_pages() -> None:
    assert {"docs/files/bench.md", "docs/theory/uncertainty.md"} <= set(TABLES)
    assert {"docs/how-to/scripts.md", "docs/files/outcome.md"} <= set(SNIPPETS)


@pytest.mark.parametrize("page", SNIPPETS)
def test_its_snippets_run(page: str, desk: Path) -> None:
    names: dict[str, object] = {}
    if page == "docs/studies-on-a-cluster.md":  # one reads what a command above it wrote
        assert run(["study", "examples/study/lengths.toml", "-o", "lengths.h5", "--workers", "1"]) == 0
    for mark, snippet in SNIPPETS[page]:
        if not mark:
            exec(compile(snippet, page, "exec"), names)


def test_the_loop_over_minutes_prints_what_its_page_shows(desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = PAGES["docs/how-to/scripts.md"]
    loop = next(code for _, code in SNIPPETS["docs/how-to/scripts.md"] if "for minutes in" in code)
    shown = re.findall(r"^\d+ min: .* nm RMS$", page, re.MULTILINE)
    exec(compile(loop, "scripts.md", "exec"), {})
    assert capsys.readouterr().out.splitlines() == shown
    left = [int(line.split()[2]) for line in shown]
    assert left == sorted(left, reverse=True) and left[0] < 55


def test_the_files_of_a_smaller_lap_are_read(tmp_path: Path) -> None:
    laps, spells = re.findall(r"```toml\n(.*?)```", PAGES["docs/how-to/smaller-lap.md"], re.DOTALL)
    rest = {"mirror": {"diameter": "300 mm", "radius_of_curvature": "3 m"}, "figure": {"conic": -1.0}}
    (tmp_path / "bench.toml").write_text(tomli_w.dumps(rest | tomllib.loads(laps)), encoding="utf-8")
    (tmp_path / "programme.toml").write_text(spells, encoding="utf-8")
    bench = wearsim.load_bench(tmp_path / "bench.toml")
    assert [lap.name for lap in bench.laps] == ["full", "small"]
    (spell,) = wearsim.load_programme(tmp_path / "programme.toml", bench).spells
    assert spell.lap == "small"


def test_every_command_is_in_the_reference() -> None:
    shown = re.findall(r"^```\{command-output\} wearsim (\S+) --help$", PAGES["docs/commands.md"], re.MULTILINE)
    assert shown == list(typer.main.get_command(app).commands)  # type: ignore[attr-defined]


def test_every_public_name_is_in_the_reference() -> None:
    listed = re.findall(r"^   wearsim\.(\w+)$", PAGES["docs/python.md"], re.MULTILINE)
    assert sorted(listed) == sorted(set(wearsim.__all__) - {"__version__"})


NAMED = re.compile(r"`(wearsim(?:\.\w+)+)(?:\([^`]*\))?`|`((?:wearsim|tests|docs|configs|examples)/[\w./-]+)")


@pytest.mark.parametrize("page", [*PAGES, "DEVELOPERS.md"])
def test_what_it_names_of_the_code_is_there(page: str) -> None:
    for name, path in NAMED.findall((ROOT / page).read_text(encoding="utf-8")):
        if name and not name.endswith((".toml", ".h5")):
            pkgutil.resolve_name(name)
        assert not path or (ROOT / path).exists() or path.startswith("docs/generated"), path


def test_developers_add_the_stroke_that_is_tested() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for file, (_, lines) in ADDED.items():
        assert file in page and lines in page


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_a_shell_gets_its_completion(shell: str) -> None:
    """What docs/how-to/scripts.md says of completion."""
    done = subprocess.run(
        [sys.executable, "-m", "wearsim"], env={**os.environ, "_WEARSIM_COMPLETE": f"source_{shell}"},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert "wearsim" in done.stdout and done.returncode == 0


@pytest.mark.parametrize("page", [page for page in PAGES if page.startswith(("docs/files/", "docs/tutorial"))])
def test_pages_read_sensibly_in_a_checkout(page: str) -> None:
    """Without the build: no page leaves its examples, or its contents, to a directive."""
    directives = re.findall(r"^```\{([\w-]+)\}", PAGES[page], re.MULTILINE)
    assert set(directives) <= ({"toctree"} if page.endswith("index.md") else set()), directives
    assert len(PAGES[page].split()) > 100
    for picture in re.findall(r"!\[[^\]]+\]\(([^)]+)\)", PAGES[page]):
        assert (ROOT / page).parent.joinpath(picture).is_file(), picture
