"""The file: laid out along the axes, opened by xarray with no code of ours, refused when damaged."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import h5py
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.helpers.studies import COARSE, TEXT, Inline, small_study
from wearsim.errors import StoreError
from wearsim.study import run as runs
from wearsim.study.cases import ChunkResult, job_for
from wearsim.study.checkpoint import checkpoint_folder
from wearsim.study.plan import sample_of
from wearsim.study.quantities import QUANTITIES
from wearsim.study.run import run_study
from wearsim.study.study_file import expected_size, read_study, slabs, write_study
from wearsim.wear.accuracy import DEFAULT


@given(st.lists(st.integers(1, 5), min_size=1, max_size=4), st.data())
def test_slabs_cover_their_cases_once_and_in_order(shape: list[int], data: st.DataObject) -> None:
    total = int(np.prod(shape))
    first = data.draw(st.integers(0, total - 1))
    last = data.draw(st.integers(first + 1, total))
    places = np.arange(total).reshape(shape)
    boxes = list(slabs(first, last, tuple(shape)))
    found = [places[box].ravel() for box, _ in boxes]
    assert [len(part) for part in found] == [count for _, count in boxes]
    assert np.concatenate(found).tolist() == list(range(first, last))
    assert len(boxes) <= 2 * len(shape)


def test_xarray_opens_it_with_no_code_of_ours(whole: Path) -> None:
    code = f"""
import sys, xarray, numpy
with xarray.open_dataset({str(whole)!r}, engine="h5netcdf") as data:
    assert dict(data.sizes) == dict(spell_1_on_top=2, spell_1_side_overhang=3, sample=8, radius=16, percentile=3)
    assert list(data.spell_1_on_top.values) == ["tool", "mirror"]
    numpy.testing.assert_allclose(data.spell_1_side_overhang, [0.0, 0.22, 0.44])
    assert data.hands_push.dims == ("sample",) and data.hands_push.units == "N"
    assert all("units" in v.attrs and "long_name" in v.attrs for v in data.variables.values())
    mirror = data.edge_roll.sel(spell_1_on_top="mirror", spell_1_side_overhang=0.0)
    assert mirror.dims == ("sample",) and bool(numpy.isfinite(mirror).all())
    assert data.figure_error.dims[-1] == "radius" and data.radius.units == "m"
    assert int((data.failure > 0).sum()) == 16 and bool((data.complete == 1).all())
    assert data.attrs["engine"] == "radial" and "[[axis]]" in data.attrs["study_toml"]
assert not any(name.startswith("wearsim") for name in sys.modules)
"""
    done = subprocess.run([sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_provenance_stands_first(whole: Path) -> None:
    with h5py.File(whole, "r") as file:
        about = dict(file.attrs)
        assert file["edge_roll"].fletcher32
        for dataset in file.values():
            assert dataset.attrs["units"] and dataset.attrs["long_name"]
    assert about["format"] == "wearsim study" and about["format_version"] == 2
    for name in ("creator", "written_utc", "libraries", "seed", "draws", "bench_toml", "figure_file"):
        assert name in about
    assert len(about["study_toml_sha256"]) == 64


def test_forecast_of_the_size_is_right(whole: Path) -> None:
    with h5py.File(whole, "r") as file:
        reasons = [str(reason) for reason in file["reason"].asstr()[()].ravel()]
        inner = {"radius": file["radius"][()]}
    assert sum(map(bool, reasons)) == 16  # a third of the cases tip off
    study = small_study()
    expected = expected_size(study, job_for(study, accuracy=COARSE), inner, reasons)
    assert expected == pytest.approx(whole.stat().st_size, rel=0.05)


@pytest.mark.parametrize(
    ("overhangs", "samples", "keep", "failed"),
    [
        (11, 64, '"edge_roll", "surface_rms", "strehl", "figure_error"', 0.3), (41, 512, '"edge_roll"', 0.0),
        (3, 2048, '"edge_roll", "figure_error"', 0.5),
    ],
)  # fmt: skip
def test_forecast_of_the_size_of_many_cases(
    overhangs: int, samples: int, keep: str, failed: float, tmp_path: Path, rng: np.random.Generator
) -> None:
    """Cases as chance has them; those that fail say why."""
    text = TEXT.replace("count = 3", f"count = {overhangs}").replace("count = 8", f"count = {samples}")
    study = small_study(text.replace('"edge_roll", "surface_rms", "strehl", "figure_error"', keep))
    job, inner = job_for(study, accuracy=COARSE), {"radius": np.linspace(0.0, 0.15, 41)}
    lengths = {"percentile": 3, "radius": 41}
    why = tuple("the stroke tips off" if share < failed else "" for share in rng.random(study.cases).tolist())
    shapes = {name: tuple(lengths[one] for one in QUANTITIES[name].inner) for name in job.keep}
    values = {name: rng.random((study.cases, *shape)) for name, shape in shapes.items()}
    result = ChunkResult(0, np.array([reason != "" for reason in why], np.int8), why, values, inner)
    write_study(study, job, "0" * 64, [result], tmp_path / "o.h5")
    size = (tmp_path / "o.h5").stat().st_size
    assert size > 500_000
    assert expected_size(study, job, inner, why[::7]) == pytest.approx(size, rel=0.05)


def test_sample_in_the_file_is_the_one_worked_on(whole: Path) -> None:
    rows = sample_of(small_study(), 0)
    result = read_study(whole)
    assert rows is not None
    np.testing.assert_array_equal(result.coordinates["hands_push"].values, rows[:, 0])
    np.testing.assert_array_equal(result.coordinates["lap_1_relaxation_time"].values, rows[:, 1])


def test_damage_is_refused_and_never_overwritten(whole: Path, tmp_path: Path) -> None:
    raw = whole.read_bytes()
    damaged = tmp_path / "damaged.h5"
    cases = [b"", b"not HDF5 at all", raw[:100], raw[: len(raw) // 2], raw[:-1]]
    with h5py.File(whole, "r") as file:  # one bit of one number
        at = file["edge_roll"].id.get_chunk_info(0).byte_offset + 3
    cases.append(raw[:at] + bytes([raw[at] ^ 1]) + raw[at + 1 :])
    for content in cases:
        damaged.write_bytes(content)
        for force in (False, True):
            with pytest.raises(StoreError) as error:
                run_study(small_study(), damaged, Inline(), accuracy=COARSE, force=force)
            assert "damaged" in str(error.value) and "\n" not in str(error.value)
        assert damaged.read_bytes() == content
        assert not checkpoint_folder(damaged).exists()


def test_any_flipped_byte_is_refused_or_harmless(whole: Path, tmp_path: Path) -> None:
    raw, good = whole.read_bytes(), read_study(whole)
    damaged, chance, refused = tmp_path / "damaged.h5", random.Random(5), 0
    for _ in range(60):
        at = chance.randrange(len(raw))
        damaged.write_bytes(raw[:at] + bytes([raw[at] ^ 0x55]) + raw[at + 1 :])
        try:
            result = read_study(damaged)
        except StoreError:
            refused += 1
            continue
        for name in good.kept:
            np.testing.assert_array_equal(result.quantities[name].values, good.quantities[name].values)
    assert refused > 30


def test_a_number_that_was_written_over_is_refused(whole: Path, tmp_path: Path) -> None:
    altered = tmp_path / "altered.h5"
    altered.write_bytes(whole.read_bytes())
    with h5py.File(altered, "r+") as file:  # the check sums of HDF5 fit
        file["edge_roll"][0, 0, 0] *= 1.5
    with pytest.raises(StoreError, match="damaged"):
        read_study(altered)
    with h5py.File(altered, "r+") as file:  # a file of the first format has no seal
        del file.attrs["content_sha256"]
        file.attrs["format_version"] = 1
    assert read_study(altered).cases == 48


def test_other_files_and_newer_versions_are_refused(whole: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.h5"
    with h5py.File(other, "w") as file:
        file["x"] = 1.0
    with pytest.raises(StoreError, match="not a wearsim study"):
        run_study(small_study(), other, Inline(), accuracy=COARSE, force=True)
    other.write_bytes(whole.read_bytes())
    with h5py.File(other, "r+") as file:
        file.attrs["format_version"] = 99
    with pytest.raises(StoreError, match="newer wearsim"):
        read_study(other)
    with pytest.raises(StoreError, match="no such file"):
        read_study(tmp_path / "none.h5")


def test_another_study_in_the_way_is_refused_and_told_by_what(
    whole: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    taken = tmp_path / "taken.h5"
    taken.write_bytes(whole.read_bytes())
    with pytest.raises(StoreError, match="holds another study: the seed differs"):
        run_study(small_study(), taken, Inline(), seed=1, accuracy=COARSE)
    with pytest.raises(StoreError, match="the seed and the accuracy differ"):
        run_study(small_study(), taken, Inline(), seed=1, accuracy=DEFAULT)
    monkeypatch.setattr(runs, "source_digest", lambda: "another")
    with pytest.raises(StoreError, match="the same settings, computed by another version of wearsim's code"):
        run_study(small_study(), taken, Inline(), accuracy=COARSE)
    monkeypatch.undo()
    assert taken.read_bytes() == whole.read_bytes()
    assert run_study(small_study(), taken, Inline(), accuracy=COARSE).cases == 48  # complete: only read
    assert taken.read_bytes() == whole.read_bytes()
