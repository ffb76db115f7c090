"""The commands and snippets of Markdown pages, found and run as they stand.

Shared by the build (which shows what they print), by ``refresh_readme.py`` and by the tests. A page's blocks run
in order in one folder that holds a copy of ``examples/``. These fences count:

* ``transcript``: commands, one a line; the build puts what they print beneath them;
* ``sh``, ``bash``, ``console``: commands, one a line, with or without a ``$`` before it;
* ``python``: a snippet;
* ``toml``: a file, or a part of one (``sample_files.py`` reads it).

A block behind the line ``<!-- not run: WHY -->`` is left alone.
"""

from __future__ import annotations

import contextlib
import io
import re
import shlex
import shutil
import subprocess
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
RUN = ("transcript", "sh", "bash", "console", "python")
COUNT = (*RUN, "toml")
FENCE = re.compile(
    r"^(?P<mark>(?:<!-- not run: (?P<why>[^>]+) -->\n)?)(?P<ticks>`{3,})\{?(?P<kind>\w+)\}?[^\n]*\n"
    r"(?P<body>.*?)^(?P=ticks)[ ]*$",
    re.MULTILINE | re.DOTALL,
)
# Making an environment and installing into it is for CI to try; what follows in the same line is run.
INSTALLING = re.compile(r"^(python3? -m venv|(\.venv/bin/)?pip install|\.venv/bin/python -m pytest)\b")
PLAIN = ("cp", "cat", "ls", "mkdir")


@dataclass(frozen=True)
class Block:
    """One fence of a page.

    Parameters
    ----------
    kind : str
    body : str
    line : int
        Of the fence, from 1.
    why_not : str
        Why it is not run; empty where it is.
    """

    kind: str
    body: str
    line: int
    why_not: str

    @property
    def commands(self) -> list[str]:
        """Its commands."""
        return commands_in(self.body)


def commands_in(body: str) -> list[str]:
    """Commands of a fence, one a line; ``\\`` goes on in the next, the fence's options and comments left out."""
    lines = [" ".join(line.split()).removeprefix("$ ") for line in body.replace("\\\n", " ").splitlines()]
    return [line for line in lines if line and not re.match(r"#|:[\w-]+:", line)]


def blocks(text: str) -> list[Block]:
    """All fences of a page that count."""
    return [
        Block(found["kind"], found["body"], text.count("\n", 0, found.start()) + 1, found["why"] or "")
        for found in FENCE.finditer(text)
        if found["kind"] in COUNT
    ]


@dataclass(frozen=True)
class Ran:
    """What a command came to: its exit code, what it answered and what it said beside."""

    code: int
    out: str
    err: str


def lay_out(folder: Path) -> None:
    """Put a copy of the examples into a folder."""
    shutil.copytree(ROOT / "examples", folder / "examples", ignore=shutil.ignore_patterns("__pycache__"))


def run_line(line: str) -> Ran:
    """Run one line of a block: parts joined by ``&&`` in turn, installing left to CI."""
    out, err = "", ""
    for part in line.split("&&"):
        if INSTALLING.match(part.strip()):
            continue
        done = _run(shlex.split(part, comments=True))
        out, err = out + done.out, err + done.err
        if done.code != 0:
            return Ran(done.code, out, err)
    return Ran(0, out, err)


def _run(words: list[str]) -> Ran:
    """A command: wearsim and the examples inside this process, a few plain ones by the shell's names."""
    name = Path(words[0]).name
    if words[1:3] == ["-m", "wearsim"] and name.startswith("python"):
        return _inside(words[3:])
    if name == "wearsim":
        return _inside(words[1:])
    if name.startswith("python") and words[1].startswith("examples/"):
        return _example(Path(words[1]), words[2:])
    if name in PLAIN:
        done = subprocess.run(words, capture_output=True, text=True, check=False)
        return Ran(done.returncode, done.stdout, done.stderr)
    raise ValueError(f"a page says {shlex.join(words)!r}, which nothing here runs; mark it not run, and why")


def _inside(arguments: list[str]) -> Ran:
    from wearsim.cli.main import run

    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run(arguments)
    return Ran(code, out.getvalue(), err.getvalue())


def _example(script: Path, arguments: list[str]) -> Ran:
    words, picture = answer_of(script.stem)
    if arguments:
        picture.savefig(arguments[0])
    return Ran(0, words + "\n", "")


@cache
def answer_of(name: str):  # type: ignore[no-untyped-def]  # what a module of its own returns
    """The answer of an example, asked once: some are long, and pages show what the gallery shows."""
    return load_example(ROOT / "examples" / f"{name}.py").answer()


def load_example(script: Path):  # type: ignore[no-untyped-def]  # a module of its own
    """An example as a module."""
    import importlib.util

    spec = importlib.util.spec_from_file_location(f"example_{script.stem}", script)
    if spec is None or spec.loader is None:
        raise ValueError(f"{script} is no example")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
