"""Errors, and which to raise when.

========================  =====================================================================  ====
error                     raise it when                                                          exit
========================  =====================================================================  ====
:class:`InputError`       what a person wrote cannot be used: a key, a value, a file             2
:class:`TipsOffError`     a stroke carries the load outside the contact (a kind of InputError)   2
:class:`ContactError`     the contact solver did not find its balance: a fault of ours           1
:class:`StoreError`       a file of results is damaged or not ours (a kind of InputError)        2
:class:`CouldNotError`    sound input, but the job cannot be done                                1
========================  =====================================================================  ====

Each renders as one line for the person. Programming faults stay ordinary Python exceptions and keep
their traceback. All of these survive pickling, so that they travel from worker processes.
"""

from __future__ import annotations

from collections.abc import Callable
from math import isnan
from pathlib import Path


class WearsimError(Exception):
    """Base of the errors meant for people; ``exit_code`` is what the command line ends with."""

    exit_code = 1


class InputError(WearsimError):
    """What a person wrote cannot be used.

    Parameters
    ----------
    message : str
        What is wrong and what is expected, without file and key.
    file : str or Path, optional
        The file it came from.
    key : str, optional
        The dotted key, or the row and column.
    value : object, optional
        What came.
    expected : str, optional
        What would have been accepted.
    """

    exit_code = 2

    def __init__(
        self,
        message: str,
        *,
        file: str | Path | None = None,
        key: str | None = None,
        value: object = None,
        expected: str | None = None,
    ) -> None:
        super().__init__(message)
        self.message = message
        self.file = None if file is None else str(file)
        self.key = key
        self.value = value
        self.expected = expected

    def __str__(self) -> str:
        where = ": ".join(part for part in (self.file, self.key) if part)
        text = f"{where}: {self.message}" if where else self.message
        if self.value is not None:
            text += f", got {_short(self.value)}"
        if self.expected:
            text += f"; expected {self.expected}"
        return " ".join(text.split())

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuild, (type(self), dict(self.__dict__)))


def _millimetres(length: float) -> str:
    return f"{length * 1e3:.1f} mm"


class TipsOffError(InputError):
    """The load leaves the hull of the contact region: the top piece tips off.

    Parameters
    ----------
    spell : int
        Number of the spell, from 1.
    offset : float
        Centre offset at which it tips [m].
    largest : float
        Largest centre offset that would not [m].
    file : str or Path, optional
        The programme's file.
    length : callable, optional
        Writes a length [m] in the unit of the bench's file; in millimetres unless given.
    note : str
        What may be the cause, after the message.
    """

    def __init__(
        self,
        spell: int,
        offset: float,
        largest: float,
        *,
        file: str | Path | None = None,
        length: Callable[[float], str] = _millimetres,
        note: str = "",
    ) -> None:
        super().__init__(
            f"the top piece tips off at an offset of {length(offset)} between the centres; "
            f"the largest without tipping is {length(largest)}{note}",
            file=file,
            key=f"spell {spell}",
        )
        self.spell = spell
        self.offset = offset
        self.largest = largest

    def in_unit(self, length: Callable[[float], str], file: str | Path | None, note: str = "") -> TipsOffError:
        """The same of a programme's file, its lengths [m] as `length` writes them."""
        return TipsOffError(self.spell, self.offset, self.largest, file=file, length=length, note=note)


class StoreError(InputError):
    """A file of results is damaged, of another version or not ours."""


class CouldNotError(WearsimError):
    """Sound input, but the job cannot be done."""


class ContactError(WearsimError):
    """The contact solver did not find its balance of force and moments: a fault of ours.

    Parameters
    ----------
    message : str
        Where it happened.
    residual : float
        Largest relative imbalance left [1].
    """

    def __init__(self, message: str, residual: float = float("nan")) -> None:
        super().__init__(message)
        self.message = message
        self.residual = residual

    def __str__(self) -> str:
        left = "" if isnan(self.residual) else f"; imbalance left {self.residual:.1e}"
        return f"the forces between the two pieces could not be balanced ({self.message}{left})"

    def __reduce__(self) -> tuple[object, ...]:
        return (type(self), (self.message, self.residual))


def _rebuild(kind: type[InputError], state: dict[str, object]) -> InputError:
    error = kind.__new__(kind)
    Exception.__init__(error, state.get("message", ""))
    error.__dict__.update(state)
    return error


def _short(value: object, most: int = 60) -> str:
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= most else text[: most - 3] + "..."
