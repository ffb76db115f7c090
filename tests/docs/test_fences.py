"""What pages show of files is read as a person's would be; the benchmarks that they name are there."""

from __future__ import annotations

import json
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import run_blocks
import sample_files

from wearsim.errors import InputError

ROOT = Path(__file__).parents[2]
TEXTS = {
    str(path.relative_to(ROOT)): path.read_text(encoding="utf-8")
    for path in sorted([*ROOT.glob("docs/**/*.md"), ROOT / "DEVELOPERS.md", ROOT / "README.md"])
    if "_build" not in path.parts and "generated" not in path.parts
}
FILES = {
    page: found
    for page, text in TEXTS.items()
    if (found := [block for block in run_blocks.blocks(text) if block.kind == "toml" and not block.why_not])
}
# as they stand in a fence or within a sentence
COMMAND = re.compile(r"^(?:python3? -m )?pytest [^\n#]+|`(?:python3? -m )?pytest [^`]+`", re.MULTILINE)
SCRIPT = re.compile(r"python3? (tests/benchmarks/\w+\.py)([^`\n#]*)")
COLLECTED = sorted(
    {found.strip("` \n") for text in TEXTS.values() for found in COMMAND.findall(text) if "tests/benchmarks" in found}
)
SCRIPTS = sorted({found for text in TEXTS.values() for found in SCRIPT.findall(text)})


@pytest.mark.parametrize("page", FILES)
def test_files_on_pages_are_read(page: str, tmp_path: Path) -> None:
    bench: dict[str, Any] = {}
    for block in FILES[page]:
        bench = sample_files.read(block.body, tmp_path, bench)


def test_there_are_files_and_benchmarks_on_pages() -> None:
    assert {"README.md", "docs/how-to/inches.md", "docs/how-to/smaller-lap.md"} <= set(FILES)
    assert len(COLLECTED) >= 4 and len(SCRIPTS) >= 8


@pytest.mark.parametrize(
    "text",
    [
        '[mirror]\ndiametre = "8 in"\n',
        '[[lap]]\nname = "full"\ndiameter = "300 mm"\n',
        '[[spell]]\nlap = "small"\nstroke = "straight"\nlength = 0.2\nminutes = 4\n',
        'length_unit = "kg"\n',
        '[[axis]]\nkey = "hands.wrist"\ngrid = { first = "0 mm", last = "20 mm", count = 5 }\n',
    ],
)
def test_a_file_that_would_be_refused_is_seen(text: str, tmp_path: Path) -> None:
    with pytest.raises(InputError):
        sample_files.read(text, tmp_path)


def test_a_part_of_a_study_is_read(tmp_path: Path) -> None:
    axis = '[[axis]]\nkey = "hands.push"\ngrid = { first = "0 N", last = "20 N", count = 5 }\n'
    sample_files.read(axis, tmp_path)
    with pytest.raises(ValueError, match="what kind of file"):
        sample_files.read("depth = 1\n", tmp_path)


# Collects once for each list of words, in one process: importing the benchmarks is what takes the time.
COLLECT = """
import json, sys, pytest
for words in json.loads(sys.argv[1]):
    print("==", pytest.main([*words, "--collect-only", "-q", "-p", "no:cacheprovider"]).value, flush=True)
"""


def test_benchmarks_are_collected_as_written() -> None:
    """The settings leave the benchmarks out of the tests; a command that names them must reach them."""
    split = [shlex.split(command) for command in COLLECTED]
    asked = json.dumps([words[words.index("pytest") + 1 :] for words in split])
    # as from a shell of its own: benchmarks refuse to run inside a worker of the tests
    shell = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    done = subprocess.run(
        [sys.executable, "-c", COLLECT, asked], cwd=ROOT, capture_output=True, text=True, check=True, env=shell
    )
    *answers, rest = re.split(r"^== (?=\d+$)", done.stdout, flags=re.MULTILINE)
    codes = [text.partition("\n")[0] for text in (*answers[1:], rest)]
    for command, found, code in zip(COLLECTED, answers, codes, strict=True):
        assert code == "0", f"{command}: {found}"
        assert re.search(r"^tests/benchmarks/\w+\.py::", found, re.MULTILINE), command


@pytest.mark.parametrize(("script", "arguments"), SCRIPTS)
def test_scripts_of_benchmarks_are_there_with_their_options(script: str, arguments: str) -> None:
    source = (ROOT / script).read_text(encoding="utf-8")
    assert all(f'"{option}"' in source for option in re.findall(r"--[\w-]+", arguments))
