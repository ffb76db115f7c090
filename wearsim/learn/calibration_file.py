"""``calibration.toml``: what a folder was found to say, checked before it is believed.

It is wearsim's own, but it is plain text in a person's folder. A table whose digest no longer holds is stale and counts
for nothing, whatever stands in it; one whose digest holds is believed, so all of it has to be what wearsim wrote.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Any

import numpy as np
from pydantic import BeforeValidator

from wearsim.bench.fields import Piece, Words, number, refuse
from wearsim.bench.input_errors import parse_toml, read_piece, read_text
from wearsim.errors import InputError
from wearsim.kernels.arrays import Floats
from wearsim.learn.jitter import LEAST, MOST
from wearsim.wear.constants import NAMES, Belief

FILE = "calibration.toml"
HANDS = "hands"
MOST_LOG = 40.0
"""No logarithm of a factor is farther from 0 [1]: the prior's widest spread, a factor of 1e3, to the end of the search."""
MOST_POINTS = 10_000
MOST_SPREAD = 5.0
"""Relative spread of the removal from session to session that nothing found goes beyond [1]."""
ROUNDING = 1e-9
"""Of the largest variance: how far below nought an eigenvalue may come out [1]."""
LOOSE = 0.5
"""Sigmas within which a mean is that of its points [1]."""
MOST_RATIO = 5.0
"""Of a variance and that of its points [1]."""
_SIZE = len(NAMES)
_ROW = f"{_SIZE} numbers, those of {', '.join(NAMES)}"


def _numbers(value: Any, expected: str) -> list[float]:
    if not isinstance(value, list) or len(value) != _SIZE:
        raise refuse("not such a row", expected)
    for one in value:
        if isinstance(one, bool) or not isinstance(one, int | float) or not math.isfinite(one):
            raise refuse(f"{one!r} is not a finite number", expected)
    return [float(one) for one in value]


def _row(value: Any, expected: str) -> list[float]:
    row = _numbers(value, expected)
    far = next((one for one in row if abs(one) > MOST_LOG), None)
    if far is not None:
        raise refuse(f"{far:g} is no logarithm of a factor", f"{expected}, from {-MOST_LOG:g} to {MOST_LOG:g}")
    return row


def _mean(value: Any) -> list[float]:
    return _row(value, _ROW)


def _points(value: Any) -> list[list[float]]:
    expected = f"1 to {MOST_POINTS} rows of {_ROW}"
    if not isinstance(value, list) or not 0 < len(value) <= MOST_POINTS:
        raise refuse("no such rows", expected)
    return [_row(row, expected) for row in value]


def _covariance(value: Any) -> list[list[float]]:
    expected = f"{_SIZE} rows of {_SIZE} numbers, the same on both sides of the diagonal, and variances not below 0"
    if not isinstance(value, list) or len(value) != _SIZE:
        raise refuse("no covariance", expected)
    rows = [_numbers(row, expected) for row in value]
    matrix = np.array(rows)
    variances = np.diagonal(matrix)
    if variances.min() < 0.0 or variances.max() > MOST_LOG**2:
        raise refuse("variances that cannot be", f"{expected}, nor above {MOST_LOG**2:g}")
    slack = ROUNDING * max(float(variances.max()), 1e-12)
    if np.abs(matrix - matrix.T).max() > slack:
        raise refuse("not the same on both sides of the diagonal", expected)
    if np.linalg.eigvalsh(matrix).min() < -slack:
        raise refuse("no covariance: constants go together by more than they vary", expected)
    return rows


def _digest(value: Any) -> str:
    if not isinstance(value, str):
        raise refuse("not a digest", "a text in quotes")
    return value


def _sessions(value: Any) -> list[int]:
    expected = "numbers of sessions, each once, such as [2]"
    if not isinstance(value, list) or not all(type(one) is int and one >= 1 for one in value):
        raise refuse("no sessions", expected)
    if len(set(value)) < len(value):
        raise refuse("a session twice", expected)
    return value


Digest = Annotated[str, BeforeValidator(_digest), Words("a text in quotes")]
Mean = Annotated[list[float], BeforeValidator(_mean), Words(_ROW)]


class Hands(Piece):
    """What the sessions told of the hands' spread.

    Attributes
    ----------
    factor : float
        On both spreads of the bench [1].
    made_from : str
        Digest of what it rests on.
    """

    factor: Annotated[float, *number("1.0", least=LEAST, most=MOST)]
    made_from: Digest


class Remembered(Piece):
    """One table of the file: what was known after so many sessions.

    Attributes
    ----------
    made_from : str
        Digest of what it rests on.
    mean, covariance, points : list
        Of the logarithms of the factors, as in :class:`wearsim.wear.constants.Belief` [1].
    session_spread : float
        Of the removal from session to session [1].
    misfits : list of int
        Sessions whose record does not fit.
    hands : Hands or None
    """

    made_from: Digest
    mean: Mean
    covariance: Annotated[list[list[float]], BeforeValidator(_covariance), Words("a covariance")]
    session_spread: Annotated[float, *number("0.08", least=0.0, most=MOST_SPREAD)]
    misfits: Annotated[list[int], BeforeValidator(_sessions), Words("a list of sessions, or []")]
    points: Annotated[list[list[float]] | None, BeforeValidator(_points)] = None
    hands: Hands | None = None

    @property
    def belief(self) -> Belief:
        """Of the constants."""
        points = None if self.points is None else np.array(self.points)
        return Belief(np.array(self.mean), np.array(self.covariance), points)


def read_tables(path: Path) -> dict[str, Any]:
    """The file's tables as they stand, none where there is no such file.

    Parameters
    ----------
    path : Path
        Of the mirror's folder.

    Raises
    ------
    InputError
        Where it is no TOML, or cannot be read.
    """
    file = path / FILE
    if not file.exists():
        return {}
    try:
        return parse_toml(read_text(file), file)
    except InputError as error:
        raise mendable(error, path) from error


def made_from(path: Path, number: int, table: Any) -> str:
    """Digest of what a table rests on: what tells a stale one from one that counts.

    Raises
    ------
    InputError
        Where it does not say.
    """
    if isinstance(table, dict) and isinstance(table.get("made_from"), str):
        return str(table["made_from"])
    key, value = (f"{number}.made_from", table.get("made_from")) if isinstance(table, dict) else (f"{number}", table)
    raise mendable(
        InputError("no digest of what it rests on", file=path / FILE, key=key, value=value, expected="a text in quotes"),
        path,
    )  # fmt: skip


def read_remembered(path: Path, number: int, table: Any) -> Remembered:
    """One table of the file, all of it checked.

    Parameters
    ----------
    path : Path
        Of the mirror's folder.
    number : int
        Sessions that it speaks of.
    table : object
        As the file holds it.

    Raises
    ------
    InputError
        One line for the first fault, and how to mend it.
    """
    try:
        found = read_piece(Remembered, table, str(number), path / FILE)
        _check(found, number, path / FILE)
    except InputError as error:
        raise mendable(error, path) from error
    return found


def read_hands(path: Path, number: int, hands: Any) -> Hands:
    """What one table says of the hands' spread.

    Parameters
    ----------
    path, number
        As for :func:`read_remembered`.
    hands : object
        As the file holds it.

    Raises
    ------
    InputError
    """
    try:
        return read_piece(Hands, hands, f"{number}.{HANDS}", path / FILE)
    except InputError as error:
        raise mendable(error, path, "--jitter") from error


def mendable(error: InputError, path: Path, *more: str) -> InputError:
    """The same error, with how to mend it."""
    mend = " ".join(("wearsim calibrate", str(path), *more))
    expected = f"{error.expected}; or" if error.expected else "what wearsim wrote; or"
    return InputError(
        error.message, file=error.file, key=error.key, value=error.value,
        expected=f"{expected} delete the file, or make it anew with: {mend}",
    )  # fmt: skip


def _check(found: Remembered, number: int, file: Path) -> None:
    """What no key can tell by itself."""
    beyond = next((one for one in found.misfits if one > number), None)
    if beyond is not None:
        raise InputError("no such session", file=file, key=f"{number}.misfits", value=beyond, expected=f"1 to {number}")
    belief = found.belief
    if belief.points is None:
        return
    variance = np.diagonal(belief.covariance)
    for key, fault in (
        ("mean", _apart(belief.points.mean(axis=0), belief.mean, np.sqrt(variance))),
        ("covariance", _uneven(belief.points.var(axis=0), variance)),
    ):
        if fault is not None:
            raise InputError(
                f"not that of its points ({NAMES[fault]})", file=file, key=f"{number}.{key}",
                value=float(belief.mean[fault] if key == "mean" else variance[fault]), expected=f"the {key} that they have",
            )  # fmt: skip


def _apart(of_points: Floats, mean: Floats, sigma: Floats) -> int | None:
    """Place of a mean that its even draws cannot have: they stand for it to about a tenth of its sigma."""
    wrong = np.abs(of_points - mean) > LOOSE * sigma + 1e-9
    return int(np.argmax(wrong)) if wrong.any() else None


def _uneven(of_points: Floats, variance: Floats) -> int | None:
    """The same of a variance, which they stand for to about a quarter."""
    ratio = (of_points + 1e-12) / (variance + 1e-12)
    wrong = (ratio > MOST_RATIO) | (ratio < 1.0 / MOST_RATIO)
    return int(np.argmax(wrong)) if wrong.any() else None
