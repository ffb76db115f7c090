"""Write what the README's commands print, and the README's picture, anew: ``python docs/refresh_readme.py``.

A block ``text`` right behind a block of commands is what those commands print on stdout. The test of the README
(tests/cli/test_readme.py) holds the one against the other with :func:`pairs` and :func:`skeleton`.
"""

from __future__ import annotations

import contextlib
import re
import tempfile
from dataclasses import dataclass
from pathlib import Path

from run_blocks import ROOT, commands_in, lay_out, run_line

README = ROOT / "README.md"
PICTURE = ROOT / "docs" / "images" / "demo.png"
PAIR = re.compile(r"```sh\n(?P<body>(?:(?!```).)*)```\n\n```text\n(?P<printed>(?:(?!```).)*)```", re.DOTALL)
WIDTH, COLOURS = 1000, 160


@dataclass(frozen=True)
class Pair:
    """Commands and what the README says that they print."""

    commands: tuple[str, ...]
    printed: str


def pairs(text: str) -> list[Pair]:
    """Every block of commands that has its output behind it."""
    return [Pair(tuple(commands_in(found["body"])), found["printed"]) for found in PAIR.finditer(text)]


def printed_by(commands: tuple[str, ...]) -> str:
    """What commands print on stdout, run here.

    Raises
    ------
    RuntimeError
        Where one fails.
    """
    out = []
    for command in commands:
        done = run_line(command)
        if done.code != 0:
            raise RuntimeError(f"{command} ended with {done.code}: {done.err}")
        out.append(done.out.rstrip() + "\n")
    return "".join(out)


def skeleton(line: str) -> str:
    """A line without its numbers, bars and the blanks that they move."""
    return " ".join(re.sub(r"[-+]?\d[\d.]*|[#|o]+(?=\s|$)", "", line).split())


def numbers(line: str) -> list[float]:
    """The numbers of a line."""
    return [float(found) for found in re.findall(r"(?<![\w.])[-+]?\d+(?:\.\d+)?", line)]


def refresh(text: str) -> str:
    """The README with every output as it is now."""

    def renew(found: re.Match[str]) -> str:
        return f"```sh\n{found['body']}```\n\n```text\n{printed_by(tuple(commands_in(found['body'])))}```"

    return PAIR.sub(renew, text)


def draw() -> None:
    """The picture: the plot of the README's first command, small."""
    from PIL import Image

    # the call itself, so that the picture is what the command leaves
    printed_by(("wearsim propose examples/demo/bench.toml --minutes 60 --plot picture.png",))
    with Image.open("picture.png") as whole:
        size = (WIDTH, round(whole.height * WIDTH / whole.width))
        small = whole.convert("RGB").resize(size, Image.Resampling.LANCZOS)
    small.quantize(COLOURS).save(PICTURE, optimize=True)


def main() -> None:
    """Both."""
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        lay_out(Path(folder))
        text = refresh(README.read_text(encoding="utf-8"))
        draw()
    README.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
