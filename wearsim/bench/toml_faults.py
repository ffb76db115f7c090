"""What is missing in a text that is no TOML, said by line, for the slips of people who write sheets by hand."""

from __future__ import annotations

import re
from dataclasses import dataclass

_WORD_AND_UNIT = re.compile(r"\s*[\w.-]+\s*=\s*(-?[\d./]+(?:\s+\d+/\d+)?\s*[A-Za-z\u00b0%\"'][^#]*?)\s*(?:#.*)?$")
_FRACTION = re.compile(r"\s*[\w.-]+\s*=\s*((?:\d+[ -]+)?\d+/\d+)\s*$")
_BARE_WORD = re.compile(r"\s*([\w.-]+)\s*=\s*([A-Za-z][^\"'#\[\]{}]*?)\s*(?:#.*)?$")
_NO_EQUALS = re.compile(r"\s*[A-Za-z_][\w-]*\s+[\"'\[\d]")
_TWO_NUMBERS = re.compile(r"[\d.]\s+[-+]?[\d.]")
_BARE_POINT = re.compile(r"(?<![\w.\"'])([-+]?)(\.\d+|\d+\.)(?![\w.])")
LONGEST = 100_000
"""Letters of a text that is looked through: nobody writes more by hand."""
_OWN_WORDS = ("true", "false", "inf", "nan")


@dataclass(frozen=True)
class _Line:
    """A line of a text: its number, what stands on it before a comment, and how many lists are open where it begins."""

    number: int
    text: str
    depth: int
    is_quote_open: bool


def what_is_missing(text: str) -> tuple[int, str] | None:
    """The first slip that is recognised in a text that is no TOML.

    Returns
    -------
    (int, str) or None
        The line, from 1, and what is missing there: ``a comma is missing at the end of line 8``. None where it is no slip
        of these kinds.
    """
    if len(text) > LONGEST:
        return None
    lines = [line for line in _lines(text) if line.text.strip()]
    for line, following in zip(lines, [*lines[1:], None], strict=True):
        found = _in_line(line, following)
        if found is not None:
            return line.number, found
    opened = next((line for line in reversed(lines) if line.depth == 0 and "[" in line.text.partition("=")[2]), None)
    if opened is not None and lines and _depth_after(lines[-1]) > 0:
        return opened.number, f"a ] is missing: the list that begins on line {opened.number} is not closed"
    return None


def _in_line(line: _Line, following: _Line | None) -> str | None:
    body = line.text.strip()
    if line.is_quote_open:
        return f"a closing quotation mark is missing on line {line.number}"
    if (bare := _BARE_POINT.search(re.sub(r"\"[^\"]*\"|'[^']*'", "", body))) is not None:
        whole = f"{bare[1]}0{bare[2]}" if bare[2][0] == "." else f"{bare[1]}{bare[2]}0"
        return f"a 0 is missing beside the point on line {line.number}: write {whole}"
    if line.depth > 0 or "[" in body.partition("=")[2]:
        return _in_list(line, following)
    if body.startswith("["):
        return None if body.endswith("]") else f"a ] is missing at the end of line {line.number}"
    if "=" not in body:
        return f"an = is missing on line {line.number}" if _NO_EQUALS.match(body) else None
    if (fraction := _FRACTION.match(body)) is not None:
        return f'quotation marks and a unit are missing on line {line.number}: write "{fraction[1]} in"'
    if (unquoted := _WORD_AND_UNIT.match(body)) is not None:
        quoted = f'"{unquoted[1].strip(chr(34))}"'
        where = f"quotation marks are missing on line {line.number}"
        return f"{where}: write {quoted}, or a plain number where the key takes one"
    if (word := _BARE_WORD.match(body)) is not None and word[2] not in _OWN_WORDS:
        return f'quotation marks are missing on line {line.number}: write {word[1]} = "{word[2]}"'
    return None


def _in_list(line: _Line, following: _Line | None) -> str | None:
    """A comma that is missing between two numbers or two rows of a list."""
    body = line.text.strip()
    if _TWO_NUMBERS.search(body):
        return f"a comma is missing between two numbers on line {line.number}"
    if re.search(r"\]\s*\[", body):
        return f"a comma is missing between two rows on line {line.number}"
    goes_on = following is not None and _depth_after(line) > 0 and following.text.strip()[0] not in "],"
    if goes_on and "=" in (following.text if following else ""):
        return None  # the list was not closed: said of where it begins
    return f"a comma is missing at the end of line {line.number}" if goes_on and body[-1] not in ",[" else None


def _lines(text: str) -> list[_Line]:
    found, depth = [], 0
    for number, raw in enumerate(text.split("\n"), start=1):
        bare, is_open = _before_comment(raw)
        line = _Line(number, bare, depth, is_open)
        found.append(line)
        depth = _depth_after(line)
    return found


def _depth_after(line: _Line) -> int:
    """How many lists are open after a line; the name of a table in brackets opens none."""
    bare = re.sub(r"\"[^\"]*\"|'[^']*'", "", line.text)
    if line.depth == 0 and "=" not in bare:
        return 0
    return max(0, line.depth + bare.count("[") - bare.count("]"))


def _before_comment(raw: str) -> tuple[str, bool]:
    """A line up to its comment, and whether a quotation mark is open at its end."""
    quote = ""
    for place, letter in enumerate(raw):
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "\"'":
            quote = letter
        elif letter == "#":
            return raw[:place], False
    return raw, bool(quote)
