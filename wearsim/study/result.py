"""A study read back from its file, whole and sound or not at all."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from wearsim.errors import StoreError
from wearsim.study.cases import FAILURES
from wearsim.study.hdf5_store import FORMAT, VERSION
from wearsim.study.quantities import QUANTITIES
from wearsim.wear.hdf5 import digest

Values = NDArray[Any]
_OWN = ("complete", "failure", "reason")
_DIGEST = "_sha256"
# What h5py raises where bytes are not what they were.
_DAMAGE = (OSError, LookupError, RuntimeError, ValueError, TypeError, AttributeError, ArithmeticError)


@dataclass(frozen=True, eq=False)
class StudyVariable:
    """A dataset; its values are read when they are asked for.

    Parameters
    ----------
    file : Path
    name : str
    dimensions : tuple of str
    unit, text : str
        Its unit and what it is.
    """

    file: Path
    name: str
    dimensions: tuple[str, ...]
    unit: str
    text: str

    @cached_property
    def values(self) -> Values:
        """All of its values."""
        with h5py.File(self.file, "r") as file:
            return np.asarray(_values(file[self.name], ()))


@dataclass(frozen=True, eq=False)
class StudyResult:
    """A study read back.

    Parameters
    ----------
    file : Path
    attributes : dict
        Provenance.
    dimensions : tuple of str
        Of the cases.
    coordinates : dict of str to StudyVariable
        Of every dimension, and the sampled values.
    quantities : dict of str to StudyVariable
    failure : ndarray
        Codes of :data:`wearsim.study.cases.FAILURES`, one a case.
    """

    file: Path
    attributes: dict[str, Any]
    dimensions: tuple[str, ...]
    coordinates: dict[str, StudyVariable]
    quantities: dict[str, StudyVariable]
    failure: Values

    @property
    def cases(self) -> int:
        """Number of cases."""
        return int(self.failure.size)

    @property
    def kept(self) -> tuple[str, ...]:
        """Names of the quantities, in the order in which they were asked for."""
        return tuple(name for name in map(str, self.attributes["keep"]) if name in self.quantities)

    @property
    def failures(self) -> dict[str, int]:
        """How many cases failed, by why."""
        counts = np.bincount(self.failure.ravel(), minlength=len(FAILURES))
        named = zip(FAILURES, counts, strict=True)
        return {name: int(count) for name, count in named if name != "none" and count}

    def reason(self, *place: int) -> str:
        """Why a case failed, in words; empty where it did not.

        Parameters
        ----------
        *place : int
            Along every dimension of the cases.
        """
        with h5py.File(self.file, "r") as file:
            return str(_values(file["reason"], place))


def _values(dataset: h5py.Dataset, where: tuple[Any, ...]) -> Any:
    return dataset.asstr()[where] if h5py.check_string_dtype(dataset.dtype) else dataset[where]


def identity_of(path: Path) -> str:
    """Digest of what the numbers of a file rest on; the whole file is looked through.

    Raises
    ------
    StoreError
        Where it is damaged or no study: it is left as it is.
    """
    return str(read_study(path).attributes["identity"])


def read_study(path: str | Path) -> StudyResult:
    """Read a study; every value is looked at, for its check sums tell damage.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    StudyResult
        All that is in the file, in SI units; failed cases carry their reasons.

    Raises
    ------
    StoreError
        Where the file is missing, damaged, of a newer version or not a study.
    """
    path = Path(path)
    if not path.exists():
        raise StoreError("no such file", file=path, expected="a study's file")
    try:
        with h5py.File(path, "r") as file:
            _check_ours(file, path)
            _check_sound(file)
            return _read(file, path)
    except _DAMAGE as error:
        raise StoreError(
            "damaged, or no HDF5 file; left as it is", file=path, expected="a file written by wearsim study"
        ) from error


def _check_ours(file: h5py.File, path: Path) -> None:
    if file.attrs.get("format") != FORMAT:
        raise StoreError("no study of wearsim, and left as it is", file=path, expected="a study's file")
    version = int(file.attrs["format_version"])
    if version > VERSION:
        raise StoreError(
            "written by a newer wearsim", file=path, value=version, expected=f"format version up to {VERSION}"
        )


def _check_sound(file: h5py.File) -> None:
    """Read everything once, a chunk at a time: a check sum that does not fit is an error of h5py's."""
    attributes = file.attrs
    for name in attributes:
        if name.endswith(_DIGEST) and digest(str(attributes[name[: -len(_DIGEST)]])) != attributes[name]:
            raise ValueError(f"{name} does not fit its text")
    for dataset in file.values():
        boxes = dataset.iter_chunks() if dataset.chunks else ((),)
        for box in boxes:
            values = _values(dataset, box)
            if dataset.name == "/complete" and not np.all(values == 1):
                raise ValueError("not complete")


def _read(file: h5py.File, path: Path) -> StudyResult:
    coordinates: dict[str, StudyVariable] = {}
    quantities: dict[str, StudyVariable] = {}
    for name, dataset in file.items():
        if name not in _OWN:
            kept = quantities if name in QUANTITIES else coordinates
            kept[name] = _variable(path, name, dataset)
    dimensions = tuple(map(str, file.attrs["axes"]))
    return StudyResult(path, dict(file.attrs), dimensions, coordinates, quantities, file["failure"][()])


def _variable(path: Path, name: str, dataset: h5py.Dataset) -> StudyVariable:
    scale = dataset.is_scale
    dimensions = (name,) if scale else tuple(dim[0].name.strip("/") for dim in dataset.dims)
    unit, text = str(dataset.attrs["units"]), str(dataset.attrs["long_name"])
    return StudyVariable(path, name, dimensions, unit, text)
