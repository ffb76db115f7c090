"""Reading text and TOML files, every failure as one line."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from wearsim.errors import InputError

LARGEST = 32 * 1024 * 1024
"""Bytes; nothing that people write by hand comes near it."""


def read_text(path: str | Path, what: str = "a text file") -> str:
    """The text of a UTF-8 file, with or without a byte-order mark, line ends as ``\\n``.

    Parameters
    ----------
    path : str or Path
        The file.
    what : str
        What it should be, for the error line.

    Raises
    ------
    InputError
        Missing, a folder, not permitted, too large, or not text.
    """
    path = Path(path)
    raw = _bytes(path, what)
    if b"\0" in raw:
        raise InputError("binary, not text", file=path, expected=what)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"not UTF-8 text (byte {error.start + 1})", file=path, expected=what) from error
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _bytes(path: Path, what: str) -> bytes:
    try:
        if path.is_dir():
            raise InputError("a folder, not a file", file=path, expected=what)
        if path.exists() and not path.is_file():
            raise InputError("no ordinary file", file=path, expected=what)
        with path.open("rb") as stream:
            raw = stream.read(LARGEST + 1)
    except FileNotFoundError as error:
        raise InputError("no such file", file=path, expected=what) from error
    except PermissionError as error:
        raise InputError("no permission to read it", file=path, expected=what) from error
    except (OSError, ValueError) as error:
        raise InputError(f"cannot be read ({error})", file=path, expected=what) from error
    if len(raw) > LARGEST:
        raise InputError("larger than 32 MB", file=path, expected=what)
    return raw


def parse_toml(text: str, file: Path | None) -> dict[str, Any]:
    """The tables of a TOML text.

    Raises
    ------
    InputError
        With line and column, where it is no TOML.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"not TOML: {error}", file=file) from error
    except (RecursionError, ValueError) as error:
        raise InputError(
            "not TOML that can be read: nested too deeply, or a number too long", file=file
        ) from error


def check_readable(path: Path, what: str, key: str, file: Path | None) -> None:
    """Refuse, under the key that names it, a file that is missing, a folder or not permitted.

    Raises
    ------
    InputError
        With the bench's file and the key.
    """

    def fault(message: str) -> InputError:
        return InputError(f"{message}: {path}", file=file, key=key, expected=what)

    try:
        if path.is_dir():
            raise fault("a folder, not a file")
        with path.open("rb"):
            return
    except FileNotFoundError as error:
        raise fault("no such file") from error
    except PermissionError as error:
        raise fault("no permission to read it") from error
    except (OSError, ValueError) as error:
        raise fault("cannot be read") from error
