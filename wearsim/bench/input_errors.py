"""Reading the files and tables that people write; every fault as the one line that a person reads."""

from __future__ import annotations

import difflib
import os
import re
import stat
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import MappingProxyType
from typing import Any, BinaryIO, TypeVar

from pydantic import ValidationError

from wearsim.bench import units
from wearsim.bench.fields import FROM_FILE, InputTable, expected_of
from wearsim.bench.toml_faults import what_is_missing
from wearsim.errors import InputError

_Table = TypeVar("_Table", bound=InputTable)
_MILLIMETRES = re.compile(r'(?<!["\w.])([0-9.]+(?:e[+-]?[0-9]+)?) mm\b')


LARGEST = 32 * 1024 * 1024
"""Bytes; nothing that people write by hand comes near it."""


def read_text(path: str | Path, what: str = "a text file") -> str:
    """The text of a UTF-8 file, with or without a byte-order mark, line ends as ``\\n``; `what` it should be.

    Raises
    ------
    InputError
        Missing, a folder, not permitted, too large, or not text.
    """
    path = Path(path)
    return text_of(_bytes(path, what), path, what)


def text_of(raw: bytes, path: Path, what: str = "a text file") -> str:
    """The text of a file's bytes; errors as for :func:`read_text`."""
    if b"\0" in raw:
        raise InputError("binary, not text", file=path, expected=what)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"not UTF-8 text (byte {error.start + 1})", file=path, expected=what) from error
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _bytes(path: Path, what: str) -> bytes:
    with opened(path, what) as stream:
        raw = stream.read(LARGEST + 1)
    if len(raw) > LARGEST:
        raise InputError("larger than 32 MB", file=path, expected=what)
    return raw


@contextmanager
def opened(path: Path, what: str) -> Iterator[BinaryIO]:
    """A file to read from, which `what` it should be; errors as for :func:`read_text`, also of what reads from it.

    Yields
    ------
    file object
        Of bytes.
    """
    try:
        if path.is_dir():
            raise InputError("this is a folder, not a file", file=path, expected=what)
        with open(path, "rb", opener=_without_waiting) as stream:
            if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):  # a pipe would be waited for, a device has no end
                raise InputError("not an ordinary file", file=path, expected=what)
            yield stream
    except FileNotFoundError as error:
        raise InputError("no such file", file=path, expected=what) from error
    except PermissionError as error:
        raise InputError("no permission to read it", file=path, expected=what) from error
    except (OSError, ValueError) as error:
        raise InputError(
            f"cannot be read ({getattr(error, 'strerror', None) or error})", file=path, expected=what
        ) from error


def _without_waiting(path: str, flags: int) -> int:
    """Open a file; a pipe that nobody writes to, too."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def is_ordinary(path: Path) -> bool:
    """Whether a file is there that ends: no folder, pipe or device; or a link to one."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


# TOML's own names may be split by dots into tables in tables; nothing here is deeper than three.
_KEY = r"""(?:[\w\-]++|"[^"]*+"|'[^']*+')"""
_DOTTED = re.compile(rf"""(?<![\w\-"'.])(?:{_KEY}[ \t]*+\.[ \t]*+){{16}}""")
LONGEST_SHOWN = 60
"""Letters of a line of a file in an error."""
MOST_TOML = 8 * 1024 * 1024
"""Letters of a file of tables."""


def parse_toml(text: str, file: Path | None) -> dict[str, Any]:
    """The tables of a TOML text.

    Raises
    ------
    InputError
        With line and column, where it is no TOML.
    """
    if len(text) > MOST_TOML:
        raise InputError("too large for a TOML file", file=file, expected=f"at most {MOST_TOML // 1024**2} MB")
    for line in text.splitlines():
        if line.count(".") >= 16 and _DOTTED.search(line):  # takes minutes, and gigabytes
            raise InputError("not readable TOML: nested too deeply, or a number too long", file=file)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        missing = what_is_missing(text)
        if missing is None:
            raise InputError(f"not TOML: {error}", file=file) from error
        line = text.split("\n")[missing[0] - 1].strip()
        raise InputError(
            missing[1], file=file, value=line if len(line) <= LONGEST_SHOWN else f"{line[:LONGEST_SHOWN]} ..."
        ) from error
    except (RecursionError, ValueError) as error:
        raise InputError("not readable TOML: nested too deeply, or a number too long", file=file) from error


def read_named(path: Path, what: str, key: str, file: Path | None) -> bytes:
    """The bytes of a file that a bench names; a fault is laid to the key that names it.

    Raises
    ------
    InputError
        With the bench's file and the key.
    """
    try:
        return _bytes(path, what)
    except InputError as error:
        raise InputError(f"{error.message}: {path}", file=file, key=key, expected=what) from error


def nearest_word(word: str, allowed: Iterable[str]) -> str:
    """What to expect instead of a word that is not among the allowed ones."""
    words = list(allowed)
    close = difflib.get_close_matches(word, words, n=1, cutoff=0.6)
    if close:
        return f'"{close[0]}" (did you mean that?)'
    return ("one of " * (len(words) > 1) + ", ".join(words)) if words else "none"


def check_keys(
    table: dict[str, Any], allowed: Iterable[str], file: Path | None, prefix: str = "",
    also: Mapping[str, str] = MappingProxyType({}),
) -> None:  # fmt: skip
    """Refuse keys that are not among the allowed ones; ``also``: which of them is meant by another word.

    Raises
    ------
    InputError
        For the first unknown key, with the nearest allowed one.
    """
    words = list(allowed)
    for key in table:
        if key not in words:
            raise InputError(
                "unknown key", file=file, key=prefix + key, expected=nearest_word(also.get(key, key), words)
            )


def read_table(model: type[_Table], table: Any, prefix: str, file: Path | None, folder: Path | None = None) -> _Table:
    """Validate one table of a file.

    Parameters
    ----------
    prefix : str
        The table's dotted key.
    folder : Path, optional
        Where names of other files in the table start from.

    Raises
    ------
    InputError
        One line for the first fault, unknown keys before all others (a misspelt key is also a missing one).
    """
    if not isinstance(table, dict):
        raise InputError("not a table", file=file, key=prefix, value=table, expected=f"a table [{prefix}]")
    check_keys(table, model.model_fields, file, prefix + ".", model.also_called)
    try:
        return model.model_validate(table, context={**FROM_FILE, "folder": folder})
    except ValidationError as error:
        raise first_fault(error, model, prefix, file) from error
    except InputError as error:
        raise located(in_written_unit(error, table.get(error.key or "")), prefix, file) from error


def length_error(key: str, length: float, message: str, bound: str, limit: float) -> InputError:
    """An error of a length beside a limit [m], for :func:`in_written_unit` to bring into the unit that it was written in."""
    value, most = (f"{one * 1e3:.6g} mm" for one in (length, limit))
    return InputError(message, key=key, value=value, expected=f"{bound}, {most}")


def located(error: InputError, prefix: str, file: Path | None) -> InputError:
    """The same error with the file and the full key."""
    key = ".".join(part for part in (prefix, error.key) if part)
    return InputError(error.message, file=file, key=key, value=error.value, expected=error.expected)


def in_written_unit(error: InputError, written: object) -> InputError:
    """The same error with the value as `written` under its key, and its millimetres in the unit that it has there."""
    try:
        unit = units.split(written if isinstance(written, str) else "", "m")[1]
        size = units.read(f"1 {unit}", "m")
    except units.NotAQuantity:
        return error
    if unit == "mm" or not str(error.value).endswith(" mm"):
        return error

    def in_unit(found: re.Match[str]) -> str:
        return f"{float(found[1]) * 1e-3 / size:.6g} {unit}"

    expected = error.expected and _MILLIMETRES.sub(in_unit, error.expected)
    return InputError(error.message, file=error.file, key=error.key, value=written, expected=expected)


def first_fault(error: ValidationError, model: type[InputTable], prefix: str, file: Path | None) -> InputError:
    """The first fault of a validation as an :class:`~wearsim.errors.InputError`."""
    first = error.errors()[0]
    key = ".".join([prefix, *(str(part) for part in first["loc"])])
    if first["type"] == "missing":
        return InputError("missing", file=file, key=key, expected=_expected(model, first["loc"]))
    context = first.get("ctx", {})
    message = str(context.get("message", first["msg"]))
    return InputError(message, file=file, key=key, value=first["input"], expected=context.get("expected"))


def _expected(model: type[InputTable], loc: tuple[Any, ...]) -> str | None:
    return expected_of(model.model_fields[str(loc[0])]) if loc else None
