"""STUDY.toml: what is varied, what is kept; checked as a whole before anything runs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator

from wearsim.bench import materials as catalogue
from wearsim.bench.bench import Bench
from wearsim.bench.fields import InputTable, Name, choice, default, number, refuse, whole_number
from wearsim.bench.input_errors import check_keys, located, nearest_word, parse_toml, read_table, read_text
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import bench_table, load_bench, programme_from_table
from wearsim.errors import InputError
from wearsim.kernels.arrays import Floats
from wearsim.study.axes import Axis, SampleTable, draw_sample, read_axis
from wearsim.study.quantities import DEFAULT_KEPT, QUANTITIES, RADIUS_SETTINGS
from wearsim.study.settings import by_table, changed_bench, changed_programme
from wearsim.wear.predict import check_draws

MOST_CASES = 10_000_000
MOST_AXES = 12
MOST_DRAWN = 10_000_000
"""Numbers of a sample, all its settings together: some 40 bytes each while they are drawn."""
EngineName = Literal["radial", "planar"]


def _kept(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not value:
        raise refuse("not a list of quantities", ", ".join(QUANTITIES))
    for word in value:
        if not isinstance(word, str) or word not in QUANTITIES:
            raise refuse(f"no quantity {word!r}", nearest_word(str(word), QUANTITIES))
    return tuple(dict.fromkeys(value))


class StudyTable(InputTable):
    """What a study is about, from ``[study]``.

    Attributes
    ----------
    bench : str
        A ``bench.toml`` (from the study's folder) or the name of a ready-made bench.
    programme : str or None
        A ``programme.toml``; None where the study holds its own ``[[spell]]`` tables.
    engine : {"radial", "planar"}
    keep : tuple of str
        Quantities kept of every case (:data:`wearsim.study.quantities.QUANTITIES`).
    draws : int
        Draws of the uncertain constants for each case; 0 for none.
    edge_limit : float
        An edge roll below minus this is a turned edge [waves of surface height].
    """

    bench: Name
    programme: Name | None = None
    engine: Annotated[EngineName, *choice("radial", "planar")] = default("radial", "the fast one")
    keep: Annotated[tuple[str, ...], BeforeValidator(_kept)] = DEFAULT_KEPT
    draws: Annotated[int, whole_number("64", least=0, most=10_000)] = default(0, "the constants as stated")
    edge_limit: Annotated[float, *number("0.125", least=1e-3, most=100.0)] = default(
        0.125, "common practice, no source: an eighth of a wave of surface"
    )


@dataclass(frozen=True)
class Study:
    """A study, read and checked.

    Parameters
    ----------
    about : StudyTable
    bench : Bench
    programme : Programme
    bench_table, programme_table : dict
        What their files hold.
    axes : tuple of Axis
        Grids and lists, in the order of the file.
    sampled : tuple of Axis
        Sampled axes: together they are one more dimension.
    sample : SampleTable or None
    file : Path or None
    text : str
        The TOML as it was read.
    """

    about: StudyTable
    bench: Bench
    programme: Programme
    bench_table: dict[str, Any]
    programme_table: dict[str, Any]
    axes: tuple[Axis, ...]
    sampled: tuple[Axis, ...] = ()
    sample: SampleTable | None = None
    file: Path | None = None
    text: str = ""

    @property
    def shape(self) -> tuple[int, ...]:
        """Length of every dimension of the cases: the axes, then the sample."""
        sizes = tuple(len(axis.values) for axis in self.axes)
        return sizes if self.sample is None else (*sizes, self.sample.count)

    @property
    def cases(self) -> int:
        """Number of cases."""
        return math.prod(self.shape)

    @property
    def name(self) -> str:
        """The file's name without its ending."""
        return "study" if self.file is None else self.file.stem


def study_names() -> tuple[str, ...]:
    """Names of the ready-made studies."""
    return tuple(sorted(path.stem for path in _studies_folder().glob("*.toml")))


def _studies_folder() -> Path:
    return catalogue.configs_folder() / "studies"


def load_study(path: str | Path) -> Study:
    """Read and check a study.

    Parameters
    ----------
    path : str or Path
        A ``STUDY.toml``; or the name of a ready-made study of ``configs/studies``, where no such file exists.

    Returns
    -------
    Study
        Every value of every axis tried on the bench and the programme.

    Raises
    ------
    InputError
        One line for the first fault: file, key, what came, what is expected.
    """
    file = Path(path)
    if not file.exists() and str(path) in study_names():
        file = _studies_folder() / f"{path}.toml"
    text = read_text(file, "a study in TOML, or one of " + ", ".join(study_names()))
    return study_from_table(parse_toml(text, file), file=file, text=text)


def study_from_table(
    table: dict[str, Any], *, file: Path | None = None, text: str = "", bench: Bench | None = None
) -> Study:
    """A study from what its TOML holds, ``text`` kept verbatim; names of files are relative to ``file``'s folder.

    With a ``bench`` the one that the table names is not read.

    Raises
    ------
    InputError
    """
    if "study" not in table and "mirror" in table:
        expected = "a study file, or a standard question about this bench: --question overhang, on-top or pitch"
        raise InputError("this is a bench, not a study", file=file, expected=expected)
    check_keys(table, ("study", "spell", "axis", "sample"), file)
    if "study" not in table:
        raise InputError("missing", file=file, key="study", expected="a table [study]")
    about = read_table(StudyTable, table["study"], "study", file)
    bench, written = _read_bench(about.bench, file) if bench is None else (bench, bench_table(bench))
    programme, programme_table = _read_programme(about, table, file)
    axes = _read_axes(table.get("axis", []), bench, programme, file)
    sampled = tuple(axis for axis in axes if axis.distribution is not None)
    fixed = tuple(axis for axis in axes if axis.distribution is None)
    sample = _read_sample(table.get("sample"), sampled, file)
    study = Study(about, bench, programme, written, programme_table, fixed, sampled, sample, file, text)
    _check_together(study)
    return study


def _path_from(name: str, file: Path | None) -> Path:
    path = Path(name)
    return path if path.is_absolute() or file is None else file.parent / path


def _read_bench(name: str, file: Path | None) -> tuple[Bench, dict[str, Any]]:
    path = _path_from(name, file)
    bench = load_bench(path if path.exists() or name not in catalogue.names("benches") else name)
    return bench, parse_toml(bench.text, bench.file)


def _read_programme(about: StudyTable, table: dict[str, Any], file: Path | None) -> tuple[Programme, dict[str, Any]]:
    if (about.programme is not None) == ("spell" in table):
        raise InputError(
            "exactly one is needed", file=file, key="study.programme",
            expected='programme = "programme.toml", or tables [[spell]] in the study',
        )  # fmt: skip
    if about.programme is None:
        own = {"spell": table["spell"]}
        return programme_from_table(own, file=file), own
    path = _path_from(about.programme, file)
    text = read_text(path, "a programme in TOML")
    read = parse_toml(text, path)
    return programme_from_table(read, file=path, text=text), read


def _read_axes(tables: Any, bench: Bench, programme: Programme, file: Path | None) -> tuple[Axis, ...]:
    if not isinstance(tables, list) or not 0 < len(tables) <= MOST_AXES:
        raise InputError("no axes", file=file, key="axis", expected=f"1 to {MOST_AXES} tables [[axis]]")
    axes = tuple(
        read_axis(table, f"axis {place}", bench, programme, file) for place, table in enumerate(tables, start=1)
    )
    taken: set[tuple[str, int, str]] = set()
    for place, axis in enumerate(axes, start=1):
        for setting in axis.settings:
            if setting.target in taken:
                raise InputError("varied twice", file=file, key=f"axis {place}.key", value=setting.key)
            taken.add(setting.target)
    return axes


def _read_sample(table: Any, sampled: tuple[Axis, ...], file: Path | None) -> SampleTable | None:
    if table is None and not sampled:
        return None
    if table is None or not sampled:
        expected = "a table [sample] where, and only where, an axis is sampled"
        raise InputError("sample and axes do not match", file=file, key="sample", expected=expected)
    sample = read_table(SampleTable, table, "sample", file)
    if sample.count * len(sampled) > MOST_DRAWN:
        expected = f"at most {MOST_DRAWN // len(sampled):,} where {len(sampled)} settings are sampled"
        raise InputError(
            "too many samples", file=file, key="sample.count", value=f"{sample.count:,}", expected=expected
        )
    if sample.method == "sobol" and sample.count & (sample.count - 1):
        expected = "a power of two for this method, such as 128"
        raise InputError("not balanced", file=file, key="sample.count", value=sample.count, expected=expected)
    return sample


def _check_together(study: Study) -> None:
    """What no single table can show: the number of cases, what can be kept, and whether every value can be taken."""
    if study.cases > MOST_CASES:
        expected = f"at most {MOST_CASES:,} cases"
        raise InputError("too many cases", file=study.file, key="axis", value=f"{study.cases:,}", expected=expected)
    check_draws(study.programme, study.about.draws, "study.draws", study.file)
    axes = (*study.axes, *study.sampled)
    sizes = [axis.key for axis in axes if any((s.table, s.field) in RADIUS_SETTINGS for s in axis.settings)]
    for kept in study.about.keep:
        quantity = QUANTITIES[kept]
        if quantity.inner and sizes:
            message = f"{kept} has no common radius where {sizes[0]} is an axis"
            raise InputError(message, file=study.file, key="study.keep", expected="numbers, no profiles or maps")
        if quantity.engine not in (None, study.about.engine):
            message = f"{kept} is available only with the {quantity.engine} engine"
            raise InputError(message, file=study.file, key="study.keep", value=kept)
        if quantity.drawn and not study.about.draws:
            raise InputError(
                f"{kept} needs draws", file=study.file, key="study.draws", expected="draws = 64, for example"
            )
    _check_values(study)


def _check_values(study: Study) -> None:
    """Try every value of every axis in turn, the others as they stand."""
    for place, axis in enumerate(study.axes, start=1):
        for raw in axis.raw:
            changes = by_table(axis.changes(raw))
            try:
                bench = changed_bench(study.bench, study.bench_table, changes)
                changed_programme(study.programme, study.programme_table, changes).check_on(bench)
            except InputError as error:
                raise located(error, f"axis {place}", study.file) from error


def sample_of(study: Study, seed: int) -> Floats | None:
    """The study's sample (count, sampled axes) in SI units, None where nothing is sampled."""
    if study.sample is None:
        return None
    distributions = tuple(axis.distribution for axis in study.sampled if axis.distribution is not None)
    return draw_sample(study.sample, distributions, seed)
