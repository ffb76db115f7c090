"""The worst habits stay out of what people read: help, messages, tables, plots, the README, the pages, docstrings."""

from __future__ import annotations

import ast
import io
import re
import tokenize
from collections.abc import Iterator
from pathlib import Path

import pytest
import typer

from wearsim.cli.main import app

ROOT = Path(__file__).parents[2]
FOLDERS = ("docs", "docs/files", "docs/how-to", "docs/theory")
PAGES = [
    ROOT / "README.md", ROOT / "DEVELOPERS.md",
    *(page for folder in FOLDERS for page in sorted((ROOT / folder).glob("*.md"))),
]  # fmt: skip
MODULES = sorted((ROOT / "wearsim").rglob("*.py"))
EACH = r"zone|row|repeat|session|spell|case|mirror|cell|line|knob|draw|minute of arc"
COUNTED = r"one|two|three|numbers?|column|pair|object|folder|panel|line|row|ms|sessions|strokes"
HABITS = {
    "archaic": r"\b(anew|nought|till|dearer|feigns?|reckon\w*|betters|besides)\b",
    "but for": r"\bbut for (the|a|its|what|where)\b",
    "for as because": r", for (it|nothing|there|they|he|she|that|whoever) (is|are|has|have|was|does)\b",
    "told": r"\b(is|are|be|not|was|were) told\b|\btold (by|apart|from|to|of)\b",
    "stand for be": r"\b(stands|stand|stood) (in|at|as|for|twice|beside|below|above|there)\b",
    "of help": r"(?m)^Of (a|an|the|everything|all|work|it|what|pitch|hands)\b",
    "one a": rf"\b({COUNTED}) an? ({EACH})s?\b",
    "inverted": r"\b(Completed are|Out come|Written are|Shown is|Meant is)\b",
    "clause as noun": r"\bwhat (goes|is uncertain|was yours|is there|comes|came)\b|\ball that is uncertain considered\b",
    "if not said": r"\b(if not said|unless said|if said|is said,|not said)\b",
    "no for not a": r"\bno (ordinary file|list of|dotted name|number with a unit|focal ratio|standard deviation|HDF5 file)",
    "betters": r"\bto better the\b|\bhardly a stroke\b|\bgood while of\b",
    "alike": r"\balike in every\b|\balike all round\b",
    "labels": r"low is high|o: was|just so|[Oo]f tolerable|it misleads|besides the weight|the glass stand\b"
    r"|no such kind of file|not a day\b|stands twice|comes of the engine|its folder is missing|away from a terminal",
    "metaphor": r"\b(manners|(?<!eak to )(?<!eak-to-)valleys?|heats|riddles?|the house|our house|rooms and walls)\b",
    "our terms of before": r"\b(RMS|readings) to expect\b|\bpractised (strokes|ones)\b|\b[Bb]y the handbook\b|\bunlucky\b"
    r"|\bready (bench|benches|stud(y|ies)|questions?)\b|\bheld against\b|\bfound no balance\b|\bcounts? little\b"
    r"|\bwhat (minutes|spells) buy\b|\bmore minutes buy\b",
    "diary": r"\b(on older code|with an earlier search|cut for time|no longer|used to be|as of now)\b",
}
IN_CODE = {name: pattern for name, pattern in HABITS.items() if name not in ("labels", "stand for be", "clause as noun")} | {
    "stand for be": r"\b(stands|stand|stood) (in|at|as|twice|beside|below|above|there)\b",
    "clause as noun": r"\bwhat (goes|is uncertain|was yours)\b",
}  # fmt: skip
"""Of docstrings and comments, where "stands for" may mean "represents"."""


def habits(text: str, patterns: dict[str, str] = HABITS) -> list[str]:
    return [f"{name}: {found[0]!r}" for name, pattern in patterns.items() for found in re.finditer(pattern, text)]


def shown_strings(path: Path) -> Iterator[tuple[int, str]]:
    """Strings of a module that may reach a person, docstrings left out; the parts of an f-string are joined."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    silent = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            silent.add(id(node.value))
        if isinstance(node, ast.JoinedStr):
            silent |= {id(part) for part in node.values}
            yield (
                node.lineno,
                "".join(str(part.value) if isinstance(part, ast.Constant) else "X" for part in node.values),
            )
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in silent:
            yield node.lineno, node.value


def prose(path: Path) -> Iterator[tuple[int, str]]:
    """Docstrings and comments of a module."""
    text = path.read_text(encoding="utf-8")
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str):
            yield node.lineno, node.value.value
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type == tokenize.COMMENT:
            yield token.start[0], token.string


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_pages_are_plain(page: Path) -> None:
    found = [
        f"{page.name}:{number}: {habit}"
        for number, line in enumerate(page.read_text(encoding="utf-8").splitlines(), start=1)
        for habit in habits(line)
    ]
    assert not found, "\n".join(found)


def test_messages_tables_and_plots_are_plain() -> None:
    found = [
        f"{path.relative_to(ROOT)}:{number}: {habit}"
        for path in MODULES
        for number, text in shown_strings(path)
        for habit in habits(text)
    ]
    assert not found, "\n".join(found)


def test_docstrings_and_comments_are_plain() -> None:
    found = [
        f"{path.relative_to(ROOT)}:{number}: {habit}"
        for path in [*MODULES, *sorted((ROOT / "docs").glob("*.py")), *sorted((ROOT / "examples").rglob("*.py"))]
        for number, text in prose(path)
        for habit in habits(text, IN_CODE)
    ]
    assert not found, "\n".join(found)


def test_help_is_plain_and_its_options_begin_with_a_thing() -> None:
    group = typer.main.get_command(app)
    found = []
    for name, command in group.commands.items():  # type: ignore[attr-defined]
        texts = [command.help or "", *(getattr(one, "help", None) or "" for one in command.params)]
        found += [f"{name}: {habit}" for text in texts for habit in habits(text)]
    assert not found, "\n".join(found)


def test_habits_are_found_where_they_are() -> None:
    """Sentences of the kind that is to stay out, each in another way."""
    for text in (
        "Press anew.", "All but for the rim.", "Stop, for it is good.", "This cannot be told from that.",
        "It stands in the table.", "Of a new one; drawn.", "one a zone", "Completed are commands.", "what goes",
        "as left, if not said", "warm, it misleads", "in a valley", "with an earlier search",
    ):  # fmt: skip
        assert habits(text), text
