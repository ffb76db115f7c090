"""Every command and every snippet of the documentation runs as it is written (docs/run_blocks.py says which count)."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import run_blocks

ROOT = Path(__file__).parents[2]

PAGES = {
    str(path.relative_to(ROOT)): found
    for path in sorted([*ROOT.glob("docs/**/*.md"), ROOT / "DEVELOPERS.md"])
    if "_build" not in path.parts and "generated" not in path.parts
    and (found := run_blocks.blocks(path.read_text(encoding="utf-8")))
}  # fmt: skip
# The tests of the examples run these already, and look at what they answer.
EXAMPLE = re.compile(r"python3? examples/")


# tests/docs/test_tutorial.py runs it, and looks at what it says.
TUTORIAL = "docs/tutorial.md"


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the examples, as the current folder."""
    run_blocks.lay_out(tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("page", [page for page in PAGES if page != TUTORIAL])
def test_it_runs_as_written(page: str, desk: Path) -> None:
    names: dict[str, Any] = {}
    for block in PAGES[page]:
        where = f"{page}, line {block.line}"
        if block.why_not or block.kind == "toml":  # test_fences.py reads files and parts of files
            continue
        if block.kind == "python":
            exec(compile(block.body, where, "exec"), names)
            continue
        for command in block.commands:
            if EXAMPLE.match(command):
                assert Path(command.split()[1]).is_file(), where
                continue
            done = run_blocks.run_line(command)
            assert (done.code != 0) == (":fails:" in block.body), f"{where}: {command}: {done.err}"
            assert "Traceback" not in done.err


def test_there_are_pages_to_run() -> None:
    assert {"docs/tutorial.md", "docs/how-to/inches.md", "docs/files/outcome.md"} <= set(PAGES)
    assert any(block.commands and not block.why_not for block in PAGES["docs/studies-on-a-cluster.md"])


@pytest.mark.parametrize("path", sorted(ROOT.glob("docs/**/*.md")), ids=lambda path: path.name)
def test_what_is_not_run_says_why(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    for block in run_blocks.blocks(text):
        assert not block.why_not or len(block.why_not.split()) >= 3


def test_fences_are_found_as_they_stand() -> None:
    text = (
        "```sh\na \\\n  b\n# no command\nc\n```\n\n<!-- not run: needs a cluster -->\n```bash\nd\n```\n"
        "```{transcript}\n:fails:\ne\n```\n```toml\nf = 1\n```\n```python\ng\n```\n"
    )
    found = run_blocks.blocks(text)
    assert [block.commands for block in found] == [["a b", "c"], ["d"], ["e"], ["f = 1"], ["g"]]
    assert [block.why_not for block in found] == ["", "needs a cluster", "", "", ""]
    assert [block.line for block in found] == [1, 8, 12, 16, 19]


def test_a_command_that_fails_is_seen(desk: Path) -> None:
    assert run_blocks.run_line("wearsim predict nothing.toml -p none.toml").code == 2
    assert run_blocks.run_line("pip install . && wearsim --version").out.startswith("wearsim ")
    with pytest.raises(ValueError, match="nothing here runs"):
        run_blocks.run_line("rm -rf examples")


def test_the_tutorials_readings_are_as_its_script_makes_them(desk: Path) -> None:
    """The numbers that a person reads in the tutorial come from the script it names."""
    import make_tutorial

    from wearsim.knifeedge.readings import load_readings

    written = {name: load_readings(desk / "examples/tutorial" / f"{name}.toml") for name in ("readings", "after")}
    folder, make_tutorial.FOLDER = make_tutorial.FOLDER, desk / "examples/tutorial"
    try:
        make_tutorial.main()
    finally:
        make_tutorial.FOLDER = folder
    for name, sheet in written.items():
        again = load_readings(desk / "examples/tutorial" / f"{name}.toml")
        np.testing.assert_allclose(again.positions, sheet.positions, atol=0.0101e-3)


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_shells_are_told_how_to_complete(shell: str) -> None:
    """What docs/how-to/scripts.md says of completion."""
    done = subprocess.run(
        [sys.executable, "-m", "wearsim"], env={**os.environ, "_WEARSIM_COMPLETE": f"source_{shell}"},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert "wearsim" in done.stdout and done.returncode == 0
