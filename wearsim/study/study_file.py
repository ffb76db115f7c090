"""The HDF5 file of a study, written and read back: provenance first, axes as dimension scales, units everywhere.

The cases are laid out along the axes in the order of the study's file, then along the sample; the inner
dimensions of profiles and maps come last. The file is made in one go under another name and renamed.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from wearsim.bench.input_errors import is_ordinary
from wearsim.bench.toml_io import dump_bench, dump_programme
from wearsim.bench.whole_file import digest, whole_file
from wearsim.errors import CouldNotError, InputError, StoreError
from wearsim.study.cases import FAILURES, ChunkResult, Job
from wearsim.study.plan import Study, sample_of
from wearsim.study.quantities import PERCENTILES, QUANTITIES
from wearsim.wear.sealed_hdf5 import DAMAGE, LAYOUT, check_seal, data, new_hdf5, provenance, scale, seal

FORMAT = "wearsim study"
VERSION = 2
"""1: before the seal, and before cases that failed by a bug of wearsim."""
SAMPLE = "sample"
CHECKED: dict[str, Any] = {"chunks": True, "fletcher32": True}
"""Numbers carry check sums, which HDF5 keeps for every chunk of a dataset."""
_INNER_TEXT = {"radius": "radius on the mirror", "x": "across the mirror", "y": "across the mirror, upwards"}
Values = NDArray[Any]
Shape = tuple[int, ...]


def slabs(first: int, last: int, shape: Shape) -> Iterator[tuple[tuple[slice, ...], int]]:
    """Boxes that the cases ``first`` to ``last`` (not included) fill, last axis running fastest.

    Yields
    ------
    tuple of slice, int
        A box, and the number of its cases.
    """
    if len(shape) == 1:
        yield (slice(first, last),), last - first
        return
    inner = int(np.prod(shape[1:]))
    row, stop = first // inner, -(-last // inner)
    while row < stop:
        low, high = max(first - row * inner, 0), min(last - row * inner, inner)
        if low == 0 and high == inner:
            rows = max(1, last // inner - row)
            yield (slice(row, row + rows), *(slice(None) for _ in shape[1:])), rows * inner
            row += rows
            continue
        for box, count in slabs(low, high, shape[1:]):
            yield (slice(row, row + 1), *box), count
        row += 1


def written_texts(study: Study) -> dict[str, str]:
    """The texts that a study's file keeps, by the names of their attributes."""
    bench = study.bench.text or dump_bench(study.bench)
    programme = study.programme.text or dump_programme(study.programme)
    texts = {"study_toml": study.text, "bench_toml": bench, "programme_toml": programme}
    if study.bench.figure.path:
        texts["figure_file"] = study.bench.figure.content.decode("utf-8", errors="replace")
    return texts


class _Writer:
    """Puts the study into an open file."""

    def __init__(self, file: h5py.File, study: Study, job: Job) -> None:
        self.file, self.study, self.job = file, study, job
        self.dimensions = tuple(axis.name for axis in study.axes) + ((SAMPLE,) if study.sample else ())

    def write_provenance(self, identity: str) -> None:
        """Before any data."""
        study, job, attributes = self.study, self.job, self.file.attrs
        attributes["format"], attributes["format_version"], attributes["identity"] = FORMAT, VERSION, identity
        texts = written_texts(study)
        about = provenance(
            seed=job.seed, engine=job.engine, draws=job.draws, edge_limit_waves=job.edge_limit,
            wavelength_m=study.bench.light.wavelength, cases=study.cases, accuracy=repr(job.accuracy),
            axes=list(self.dimensions), keep=list(job.keep),
            keys=[axis.key for axis in (*study.axes, *study.sampled)], **texts,
        )  # fmt: skip
        about |= {f"{name}_sha256": digest(text) for name, text in texts.items()}
        for name, value in about.items():
            attributes[name] = value

    def write_coordinates(self, inner: dict[str, Values]) -> None:
        """Those of every dimension."""
        for axis in self.study.axes:
            if axis.is_number:
                scale(self.file, axis.name, np.array(axis.values), axis.unit, axis.key, **CHECKED)
            else:
                scale(self.file, axis.name, list(axis.values), "1", axis.key, dtype=h5py.string_dtype())
        rows = sample_of(self.study, self.job.seed)
        if rows is not None:
            scale(self.file, SAMPLE, np.arange(len(rows)), "1", "number of the sample", **CHECKED)
            for axis, column in zip(self.study.sampled, rows.T, strict=True):
                data(self.file, axis.name, column, axis.unit, axis.key, (SAMPLE,), **CHECKED)
        if any("percentile" in QUANTITIES[name].inner for name in self.job.keep):
            scale(self.file, "percentile", np.array(PERCENTILES), "1", "percentile over the draws", **CHECKED)
        for name, values in sorted(inner.items()):
            scale(self.file, name, values, "m", _INNER_TEXT[name], **CHECKED)

    def _empty(self, name: str, unit: str, text: str, inner: tuple[str, ...] = (), **options: Any) -> h5py.Dataset:
        """A dataset over the cases, and over the inner dimensions of each."""
        dimensions = (*self.dimensions, *inner)
        shape = tuple(self.file[dimension].shape[0] for dimension in dimensions)
        data(self.file, name, None, unit, text, dimensions, shape=shape, **{**CHECKED, **options})
        return self.file[name]

    def create_datasets(self) -> dict[str, h5py.Dataset]:
        """Every dataset over the cases, empty; a quantity whose inner coordinates nobody knows is left out."""
        words = {"dtype": h5py.string_dtype(), "fletcher32": False}
        made = {
            "complete": self._empty("complete", "1", "case worked out", dtype=np.int8),
            "failure": self._empty("failure", "1", "why the case failed", dtype=np.int8),
            "reason": self._empty("reason", "1", "why, in words", **words),
        }
        made["failure"].attrs["flag_values"] = np.arange(len(FAILURES), dtype=np.int8)
        made["failure"].attrs["flag_meanings"] = " ".join(FAILURES)
        for name in self.job.keep:
            quantity = QUANTITIES[name]
            if all(dimension in self.file for dimension in quantity.inner):
                made[name] = self._empty(name, quantity.unit, quantity.text, quantity.inner, dtype=float)
                made[name].attrs["_FillValue"] = np.float64(np.nan)
        return made

    def write_chunk(self, datasets: dict[str, h5py.Dataset], result: ChunkResult) -> None:
        """The cases of one chunk."""
        columns: dict[str, Any] = {
            "complete": np.ones(len(result), np.int8), "failure": result.failure,
            "reason": np.array(result.reason, dtype=object), **result.values,
        }  # fmt: skip
        cases, begin = self.study.shape, 0
        for box, count in slabs(result.first, result.first + len(result), cases):
            shape = tuple(len(range(*cut.indices(n))) for cut, n in zip(box, cases, strict=True))
            for name, dataset in datasets.items():
                inner = dataset.shape[len(cases) :]
                values = columns[name][begin : begin + count]
                if values.shape[1:] != inner:  # a chunk of nothing but failures knows no inner shape
                    values = np.full((count, *inner), np.nan)
                dataset[box] = values.reshape(*shape, *inner)
            begin += count


def write_study(
    study: Study, job: Job, identity: str, results: Iterable[ChunkResult], output: Path, *, force: bool = False
) -> None:
    """Make the one file of a study.

    Parameters
    ----------
    identity : str
        Digest of what the numbers rest on.
    results : iterable of ChunkResult
        All of them, in order; gone through twice.

    Raises
    ------
    CouldNotError
        Where the disk does not take it.
    """
    inner = next((result.inner for result in results if result.inner), {})
    try:
        with whole_file(output, force=force) as partial, new_hdf5(partial, libver=LAYOUT) as (file, stream):
            writer = _Writer(file, study, job)
            writer.write_provenance(identity)
            writer.write_coordinates(inner)
            datasets = writer.create_datasets()
            for result in results:
                writer.write_chunk(datasets, result)
                if stream.is_given_up:
                    break
            else:
                seal(file)
    except StoreError:  # a damaged checkpoint says so itself
        raise
    except (OSError, InputError, CouldNotError) as error:
        cause = error.__cause__ if isinstance(error.__cause__, OSError) else error
        reason = getattr(cause, "strerror", None) or cause
        raise CouldNotError(
            f"{output}: cannot be written ({reason}); finished cases are kept: make room and give the same "
            "command again"
        ) from error


# A chunk's place in the index of its dataset; its check sum; the header of a text, an empty one too [bytes].
_IN_INDEX, _CHECK_SUM, _IN_HEAP = 16, 4, 16


def expected_size(study: Study, job: Job, inner: dict[str, Values], reasons: Sequence[str] = ()) -> int:
    """Size that the file of a study will have [bytes], from the same file without its cases.

    Parameters
    ----------
    inner : dict of str to ndarray
        Coordinates of the inner dimensions that are known.
    reasons : sequence of str
        Why cases failed, empty where they did not, of cases that are like the others.
    """
    buffer = io.BytesIO()
    with h5py.File(buffer, "w", libver=LAYOUT) as file:
        writer = _Writer(file, study, job)
        writer.write_provenance("0" * 64)
        writer.write_coordinates(inner)
        values = sum(map(_expected_values, writer.create_datasets().values()))
        seal(file)
    words = [_IN_HEAP + 8 * max(1, -(-len(reason.encode()) // 8)) for reason in reasons or ("",)]
    return buffer.getbuffer().nbytes + values + round(sum(words) / len(words) * study.cases)


def _expected_values(dataset: h5py.Dataset) -> int:
    """Size of all of a dataset's values [bytes]; chunks at its ends are as large as the others."""
    if dataset.chunks is None:
        return int(dataset.size * dataset.dtype.itemsize)
    count = math.prod(-(-length // step) for length, step in zip(dataset.shape, dataset.chunks, strict=True))
    return int(count * (math.prod(dataset.chunks) * dataset.dtype.itemsize + _CHECK_SUM + _IN_INDEX))


_CASE_DATASETS = ("complete", "failure", "reason")
_DIGEST = "_sha256"


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
        Codes of :data:`wearsim.study.cases.FAILURES`, one per case.
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
    if not is_ordinary(path):
        raise StoreError(
            "not an ordinary file" if path.exists() else "no such file", file=path, expected="a study's file"
        )
    try:
        with h5py.File(path, "r") as file:
            _check_format(file, path)
            _check_content(file)
            return _read(file, path)
    except DAMAGE as error:
        raise StoreError(
            "damaged, or not an HDF5 file; left as it is", file=path, expected="a file written by wearsim study"
        ) from error


def _check_format(file: h5py.File, path: Path) -> None:
    if file.attrs.get("format") != FORMAT:
        raise StoreError("not a wearsim study; left as it is", file=path, expected="a study's file")
    version = int(file.attrs["format_version"])
    if version > VERSION:
        raise StoreError(
            "written by a newer wearsim", file=path, value=version, expected=f"format version up to {VERSION}"
        )


def _check_content(file: h5py.File) -> None:
    """Read everything once: what does not fit the seal, or the check sums of an older file, is an error."""
    if int(file.attrs["format_version"]) > 1:
        check_seal(file)
    else:
        _check_unsealed(file)
    if not np.all(file["complete"][()] == 1):
        raise ValueError("not complete")


def _check_unsealed(file: h5py.File) -> None:
    attributes = file.attrs
    for name in attributes:
        if name.endswith(_DIGEST) and digest(str(attributes[name[: -len(_DIGEST)]])) != attributes[name]:
            raise ValueError(f"{name} does not match its text")
    for dataset in file.values():
        for box in dataset.iter_chunks() if dataset.chunks else ((),):
            _values(dataset, box)


def _read(file: h5py.File, path: Path) -> StudyResult:
    coordinates: dict[str, StudyVariable] = {}
    quantities: dict[str, StudyVariable] = {}
    for name, dataset in file.items():
        if name not in _CASE_DATASETS:
            kept = quantities if name in QUANTITIES else coordinates
            kept[name] = _variable(path, name, dataset)
    dimensions = tuple(map(str, file.attrs["axes"]))
    return StudyResult(path, dict(file.attrs), dimensions, coordinates, quantities, file["failure"][()])


def _variable(path: Path, name: str, dataset: h5py.Dataset) -> StudyVariable:
    scale = dataset.is_scale
    dimensions = (name,) if scale else tuple(dim[0].name.strip("/") for dim in dataset.dims)
    unit, text = str(dataset.attrs["units"]), str(dataset.attrs["long_name"])
    return StudyVariable(path, name, dimensions, unit, text)
