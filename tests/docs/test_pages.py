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

import numpy as np
import pytest
import tomli_w
import typer
from cogapp import Cog

import wearsim
from tests.kernels.test_new_stroke import ADDED
from wearsim.bench.profile import Profile
from wearsim.cli.main import app, run
from wearsim.decide.handbook import COMPLAINTS
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.initial_figure import from_profile
from wearsim.wear.predict import gauge_for

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


@pytest.fixture
def smaller_lap(tmp_path: Path) -> tuple[wearsim.Bench, wearsim.Programme]:
    """Bench and programme of docs/how-to/smaller-lap.md, read from files."""
    laps, spells = re.findall(r"```toml\n(.*?)```", PAGES["docs/how-to/smaller-lap.md"], re.DOTALL)
    rest = {"mirror": {"diameter": "300 mm", "radius_of_curvature": "3 m"}, "figure": {"conic": -1.0}}
    (tmp_path / "bench.toml").write_text(tomli_w.dumps(rest | tomllib.loads(laps)), encoding="utf-8")
    (tmp_path / "programme.toml").write_text(spells, encoding="utf-8")
    bench = wearsim.load_bench(tmp_path / "bench.toml")
    return bench, wearsim.load_programme(tmp_path / "programme.toml", bench)


def raised(bench: wearsim.Bench, place: float, width: float, *spells: wearsim.Spell) -> int:
    """RMS that spells leave of a rise of 100 nm, its place and width in radii of the mirror [nm]."""
    share = np.linspace(0.0, 1.0, 121)
    rise = Profile(bench.mirror.radius * share, 100e-9 * np.exp(-(((share - place) / width) ** 2)), None)
    start, programme = from_profile(bench, rise, DEFAULT), wearsim.Programme(spells=spells)
    if not spells:
        gauge = gauge_for(bench, start.radius)
        return round(gauge.aperture.rms(gauge.error(start.height)) * 1e9)
    return round(wearsim.predict(bench, programme, start=start, draws=0).surface_rms * 1e9)


def test_a_smaller_lap_does_what_its_page_says(smaller_lap: tuple[wearsim.Bench, wearsim.Programme]) -> None:
    bench, programme = smaller_lap
    first, second, blend = programme.spells
    assert [spell.lap for spell in programme.spells] == ["small", "small", "full"]
    centred = wearsim.Spell(lap="small", stroke="straight", length=0.25, minutes=2, push=first.push)
    works = ((), (first,), (first, second), (first, second, blend), (_for(blend, 7.0),), (centred,))
    page = PAGES["docs/how-to/smaller-lap.md"]
    shown = [int(nm) for nm in re.findall(r"^\| .* \| (\d+) nm \|$", page, re.MULTILINE)]
    assert [raised(bench, 0.5, 0.15, *spells) for spells in works] == shown
    hill = [
        raised(bench, 0.0, 0.25),
        *(raised(bench, 0.0, 0.25, _for(centred, minutes)) for minutes in (2.0, 4.0, 8.0)),
    ]
    said = f"from {hill[0]} nm to {hill[1]} nm in two minutes. Four do no better, and after eight it is {hill[3]} nm"
    assert hill[2] == hill[1] and said in " ".join(page.split())


def _for(spell: wearsim.Spell, minutes: float) -> wearsim.Spell:
    return spell.model_copy(update={"minutes": minutes})


ROWS_AND_COMPLAINTS = {
    "raised zone near the rim": "a raised zone", "high centre": "a central hill", "low centre": "a central hole",
    "low zone": "a low zone", "turned-down edge": "a turned-down edge", "turned-up edge": "a turned-up edge",
    "undercorrected": "undercorrection", "overcorrected": "overcorrection",
}  # fmt: skip


def test_which_stroke_says_what_the_table_of_choices_calls_the_textbook_stroke() -> None:
    page, found = PAGES["docs/how-to/which-stroke.md"], {one.words: one.stroke for one in COMPLAINTS}
    rows = {
        row[0]: row[1:]
        for row in re.findall(r"^\| ([\w -]+) \| (tool|mirror) \| (.*?) \| (\d+) \| ", page, re.MULTILINE)
    }
    assert set(rows) == {*ROWS_AND_COMPLAINTS, "astigmatism"} and set(ROWS_AND_COMPLAINTS.values()) == set(found)
    for name, words in ROWS_AND_COMPLAINTS.items():
        on_top, said, _ = rows[name]
        stroke = found[words]
        sizes = [size for size in (stroke.length, stroke.sweep, stroke.overhang) if size]
        shown = [float(size) for size in re.findall(r"([\d.]+) D", said.replace("a third of D", f"{1 / 3} D"))]
        assert on_top == stroke.on_top and shown == pytest.approx(sizes), name
    assert all(float(row[2]) <= 10.0 for name, row in rows.items() if name != "turned-down edge")


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
