"""The HDF5 file of a study: provenance first, axes as dimension scales, units everywhere; any reader opens it.

The cases are laid out along the axes in the order of the study's file, then along the sample; the inner
dimensions of profiles and maps come last. The file is made of the parts in one go under another name and renamed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from wearsim.bench.toml_io import dump_bench, dump_programme
from wearsim.errors import CouldNotError, InputError, StoreError
from wearsim.study.cases import FAILURES, Job, Part
from wearsim.study.plan import Study, sample_of
from wearsim.study.quantities import PERCENTILES, QUANTITIES
from wearsim.wear.hdf5 import PatientFile, digest, new_hdf5, provenance, whole_file

FORMAT = "wearsim study"
VERSION = 1
SAMPLE = "sample"
# Since HDF5 1.10 (2016): its headers carry check sums, so that damage is seen there too.
LAYOUT = ("v110", "v110")
_INNER_TEXT = {"radius": "radius on the mirror", "x": "across the mirror", "y": "across the mirror, upwards"}
Values = NDArray[Any]
Shape = tuple[int, ...]


def slabs(first: int, last: int, shape: Shape) -> Iterator[tuple[tuple[slice, ...], int]]:
    """Boxes that the cases ``first`` to ``last`` (not included) fill, last axis running fastest.

    Parameters
    ----------
    first, last : int
    shape : tuple of int
        Of all cases.

    Yields
    ------
    tuple of slice, int
        A box, and the number of its cases.
    """
    if len(shape) == 1:
        yield (slice(first, last),), last - first
        return
    inner = int(np.prod(shape[1:]))
    row, stop = divmod(first, inner)[0], -(-last // inner)
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


class _Writer:
    """Puts the study into an open file."""

    def __init__(self, file: h5py.File, study: Study, job: Job) -> None:
        self.file, self.study, self.job = file, study, job
        self.dimensions = tuple(axis.name for axis in study.axes) + ((SAMPLE,) if study.sample else ())

    def about(self, identity: str) -> None:
        """Provenance, before any data."""
        study, job, attributes = self.study, self.job, self.file.attrs
        attributes["format"], attributes["format_version"], attributes["identity"] = FORMAT, VERSION, identity
        bench = study.bench.text or dump_bench(study.bench)
        programme = study.programme.text or dump_programme(study.programme)
        texts = {"study_toml": study.text, "bench_toml": bench, "programme_toml": programme}
        for path in [study.bench.figure.path] if study.bench.figure.path else []:
            texts["figure_file"] = path.read_text(encoding="utf-8", errors="replace")
        about = provenance(
            seed=job.seed, engine=job.engine, draws=job.draws, edge_limit_waves=job.edge_limit,
            wavelength_m=study.bench.light.wavelength, cases=study.cases, accuracy=repr(job.accuracy),
            axes=list(self.dimensions), keep=list(job.keep),
            keys=[axis.key for axis in (*study.axes, *study.sampled)], **texts,
        )  # fmt: skip
        about |= {f"{name}_sha256": digest(text) for name, text in texts.items()}
        for name, value in about.items():
            attributes[name] = value

    def scales(self, inner: dict[str, Values]) -> None:
        """Every dimension's coordinates."""
        for axis in self.study.axes:
            values = np.array(axis.values) if axis.is_number else list(axis.values)
            self._scale(axis.name, values, axis.unit or "1", axis.key)
        rows = sample_of(self.study, self.job.seed)
        if rows is not None:
            self._scale(SAMPLE, np.arange(len(rows)), "1", "number of the sample")
            for column, axis in enumerate(self.study.sampled):
                self._data(axis.name, axis.unit, axis.key, (SAMPLE,), rows[:, column])
        if any("percentile" in QUANTITIES[name].inner for name in self.job.keep):
            self._scale("percentile", np.array(PERCENTILES), "1", "percentile over the draws")
        for name, values in sorted(inner.items()):
            self._scale(name, values, "m", _INNER_TEXT[name])

    def _scale(self, name: str, values: Any, unit: str, text: str) -> None:
        words = isinstance(values, list)
        checked = {"dtype": h5py.string_dtype()} if words else {"chunks": True, "fletcher32": True}
        dataset = self.file.create_dataset(name, data=values, **checked)
        dataset.attrs["units"], dataset.attrs["long_name"] = unit, text
        dataset.make_scale(name)

    def _data(
        self, name: str, unit: str, text: str, dimensions: tuple[str, ...], values: Any = None, **more: Any
    ) -> h5py.Dataset:
        shape = tuple(self.file[dimension].shape[0] for dimension in dimensions)
        kind = more.pop("dtype", float)
        words = h5py.check_string_dtype(np.dtype(kind)) is not None
        checked = {"chunks": True, "fletcher32": not words}
        dataset = self.file.create_dataset(name, shape, dtype=kind, data=values, **checked)
        dataset.attrs["units"], dataset.attrs["long_name"] = unit, text
        for key, value in more.items():
            dataset.attrs[key] = value
        for place, dimension in enumerate(dimensions):
            dataset.dims[place].attach_scale(self.file[dimension])
        return dataset

    def datasets(self) -> dict[str, h5py.Dataset]:
        """Every dataset over the cases, empty; a quantity whose inner coordinates nobody knows is left out."""
        made = {
            "complete": self._data("complete", "1", "case worked out", self.dimensions, dtype=np.int8),
            "failure": self._data(
                "failure", "1", "why the case failed", self.dimensions, dtype=np.int8,
                flag_values=np.arange(len(FAILURES), dtype=np.int8), flag_meanings=" ".join(FAILURES),
            ),
            "reason": self._data("reason", "1", "why, in words", self.dimensions, dtype=h5py.string_dtype()),
        }  # fmt: skip
        for name in self.job.keep:
            quantity = QUANTITIES[name]
            if all(dimension in self.file for dimension in quantity.inner):
                dimensions = (*self.dimensions, *quantity.inner)
                made[name] = self._data(name, quantity.unit, quantity.text, dimensions, _FillValue=np.float64(np.nan))
        return made

    def put(self, datasets: dict[str, h5py.Dataset], part: Part) -> None:
        """The cases of one part."""
        columns: dict[str, Any] = {
            "complete": np.ones(len(part), np.int8), "failure": part.failure,
            "reason": np.array(part.reason, dtype=object), **part.values,
        }  # fmt: skip
        begin = 0
        for box, count in slabs(part.first, part.first + len(part), self.study.shape):
            for name, dataset in datasets.items():
                inner = dataset.shape[len(self.study.shape) :]
                values = columns[name][begin : begin + count]
                if values.shape[1:] != inner:  # a part of nothing but failures knows no inner shape
                    values = np.full((count, *inner), np.nan)
                shape = tuple(len(range(*cut.indices(n))) for cut, n in zip(box, self.study.shape, strict=True))
                dataset[box] = values.reshape(*shape, *inner)
            begin += count


def write_study(
    study: Study, job: Job, identity: str, parts: Iterable[Part], output: Path, *, force: bool = False
) -> None:
    """Make the one file of a study's parts.

    Parameters
    ----------
    study : Study
    job : Job
    identity : str
        Digest of what the numbers rest on.
    parts : iterable of Part
        All of them, in order; gone through twice.
    output : Path
    force : bool
        Whether an existing file may be replaced.

    Raises
    ------
    CouldNotError
        Where the disk does not take it.
    """
    inner = next((part.inner for part in parts if part.inner), {})
    try:
        with whole_file(output, force=force) as partial, new_hdf5(partial, libver=LAYOUT) as (file, stream):
            _fill(_Writer(file, study, job), identity, inner, parts, stream)
    except StoreError:  # a damaged part says so itself
        raise
    except (OSError, InputError) as error:
        cause = error.__cause__ if isinstance(error.__cause__, OSError) else error
        reason = getattr(cause, "strerror", None) or cause
        raise CouldNotError(
            f"{output}: cannot be written ({reason}); what is complete is kept: make room and give the same "
            "command again"
        ) from error


def _fill(writer: _Writer, identity: str, inner: dict[str, Values], parts: Iterable[Part], stream: PatientFile) -> None:
    writer.about(identity)
    writer.scales(inner)
    datasets = writer.datasets()
    for part in parts:
        writer.put(datasets, part)
        if stream.gives_up:
            return
