"""The benchmarks that pages name are there, with the options that they name."""

from __future__ import annotations

import json
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TEXTS = {
    str(path.relative_to(ROOT)): path.read_text(encoding="utf-8")
    for path in sorted([*ROOT.glob("docs/**/*.md"), ROOT / "DEVELOPERS.md", ROOT / "README.md"])
    if "_build" not in path.parts and "generated" not in path.parts
}
# as they stand in a fence or within a sentence
COMMAND = re.compile(r"^(?:python3? -m )?pytest [^\n#]+|`(?:python3? -m )?pytest [^`]+`", re.MULTILINE)
SCRIPT = re.compile(r"python3? -m tests\.benchmarks\.(\w+)([^`\n#]*)")
COLLECTED = sorted(
    {found.strip("` \n") for text in TEXTS.values() for found in COMMAND.findall(text) if "tests/benchmarks" in found}
)
SCRIPTS = sorted({found for text in TEXTS.values() for found in SCRIPT.findall(text)})


def test_there_are_benchmarks_on_pages() -> None:
    assert len(COLLECTED) >= 4 and len(SCRIPTS) >= 8
    assert not [page for page, text in TEXTS.items() if re.search(r"python3? tests/benchmarks", text)], "run with -m"


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
    source = (ROOT / "tests" / "benchmarks" / f"{script}.py").read_text(encoding="utf-8")
    assert all(f'"{option}"' in source for option in re.findall(r"--[\w-]+", arguments))
