"""Where the glass stands, and the light it is judged in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Self

from pydantic import BeforeValidator, ValidationInfo, model_validator

from wearsim.bench.fields import Kind, Piece, Wavelength, as_float, default, number, refuse
from wearsim.errors import InputError

SOURCES = ("profile", "readings", "conic", "map", "zernike")
MOST_TERMS = 500
_HEIGHT = Kind("a height in nm", '120.0 (nm) or "0.12 um"', "m", ("nm",), least=-1e-3, most=1e-3)


def _path(value: Any, info: ValidationInfo) -> Path:
    if isinstance(value, Path):
        return value
    if not isinstance(value, str) or not value.strip() or not value.isprintable():
        raise refuse("no name of a file", 'such as "profile.csv"')
    folder = (info.context or {}).get("folder")
    return (Path(folder) / value).absolute() if folder is not None else Path(value)


def _term(value: Any, from_file: bool) -> float:
    plain = isinstance(value, (int, float)) and not isinstance(value, bool)
    if plain and from_file:
        value = f"{value!r} nm"  # the table of terms is in nanometres
    return as_float(value, _HEIGHT, from_file)


def _terms(value: Any, info: ValidationInfo) -> tuple[float, ...]:
    if not isinstance(value, (list, tuple)) or not 0 < len(value) <= MOST_TERMS:
        raise refuse("no list of terms", f"1 to {MOST_TERMS} numbers in nm, in the order of ISO 24157")
    return tuple(_term(item, bool((info.context or {}).get("file"))) for item in value)


FilePath = Annotated[Path, BeforeValidator(_path)]


class FigureSource(Piece):
    """Where the glass stands, from ``[figure]``: exactly one of these.

    Attributes
    ----------
    profile : Path or None
        Measured figure error (:func:`wearsim.bench.profile.read_profile`).
    readings : Path or None
        Knife-edge readings.
    conic : float or None
        A pure conic of this constant [1].
    map : Path or None
        Height map on a square grid (planar engine).
    zernike : tuple of float or None
        Coefficients in the order and normalisation of ISO 24157 [m]; plain numbers in a file are nanometres.
    """

    profile: FilePath | None = None
    readings: FilePath | None = None
    conic: Annotated[float, *number("0.0", least=-50.0, most=50.0)] | None = None
    map: FilePath | None = None
    zernike: Annotated[tuple[float, ...], BeforeValidator(_terms), _HEIGHT] | None = None

    @property
    def kind(self) -> str:
        """Which of the five it is."""
        return next(key for key in SOURCES if getattr(self, key) is not None)

    @property
    def is_uneven(self) -> bool:
        """Whether it may be other than round: a map or Zernike terms."""
        return self.kind in ("map", "zernike")

    @property
    def path(self) -> Path | None:
        """The file, where it is one."""
        value = getattr(self, self.kind)
        return value if isinstance(value, Path) else None

    @model_validator(mode="after")
    def _exactly_one(self) -> Self:
        given = [key for key in SOURCES if getattr(self, key) is not None]
        if len(given) != 1:
            came = " and ".join(given) if given else "none"
            raise InputError("exactly one is needed", value=came, expected="one of " + ", ".join(SOURCES))
        return self


class Light(Piece):
    """The light, from ``[light]``.

    Attributes
    ----------
    wavelength : float
        [m].
    """

    wavelength: Wavelength = default(550e-9, "green light, where the eye is most sensitive; common practice")
