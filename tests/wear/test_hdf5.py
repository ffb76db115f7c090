"""Outcomes in HDF5: round trip, provenance, and files that are refused."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

import wearsim
from tests.helpers.workbench import make_bench, make_programme, make_spell
from wearsim.bench.bench import Spread
from wearsim.bench.whole_file import digest
from wearsim.errors import InputError, StoreError
from wearsim.wear.outcome import Outcome
from wearsim.wear.outcome_file import EXPECTED, read_outcome, write_outcome
from wearsim.wear.predict import predict


@pytest.fixture(scope="module")
def outcome() -> Outcome:
    bench = make_bench(spread=Spread(), thickness=0.02)  # thin enough for a warning
    spells = make_spell("press", minutes=5.0), make_spell("w", minutes=10.0, length=0.5, side_sweep=0.2)
    return predict(bench, make_programme(*spells), draws=4, seed=3)


def test_round_trip_is_equal(outcome: Outcome, tmp_path: Path) -> None:
    assert outcome.band is not None
    assert outcome.warnings
    write_outcome(outcome, tmp_path / "out.h5", seed=3)
    again = read_outcome(tmp_path / "out.h5")
    assert again == outcome
    assert again.to_json() == outcome.to_json()


def test_round_trip_without_spells_band_and_warnings(tmp_path: Path) -> None:
    plain = predict(make_bench(), make_programme())
    assert plain.band is None
    assert not plain.spells
    write_outcome(plain, tmp_path / "plain.h5")
    assert read_outcome(tmp_path / "plain.h5") == plain


def test_a_file_of_the_first_format_loads(outcome: Outcome, tmp_path: Path) -> None:
    """It has bands of the figure error, the RMS and the edge roll after, and no word on why there is none."""
    path = tmp_path / "first.h5"
    write_outcome(outcome, path)
    with h5py.File(path, "r+") as file:
        file.attrs["format_version"] = 1
        del file.attrs["no_band"], file.attrs["content_sha256"]
        for numbers in ("numbers", "numbers_before"):
            for name in ("rim_height", "rim_width"):
                del file[numbers].attrs[name]
        del file["spells"]["rim_height"], file["spells"]["rim_width"]
        for name in set(file["band"]) - {"percentile", "figure_error", "surface_rms", "edge_roll"}:
            del file["band"][name]
        for name in EXPECTED:
            del file["band"].attrs[name]
    old = read_outcome(path)
    for name in ("rim_height", "rim_width"):
        assert getattr(old.numbers, name) == pytest.approx(getattr(outcome.numbers, name), rel=1e-6)
        spells = [[getattr(spell, name) for spell in one.spells] for one in (old, outcome)]
        assert spells[0] == pytest.approx(spells[1], rel=1e-6)
    band = old.band
    assert band is not None and outcome.band is not None
    assert set(band.numbers) == {"surface_rms", "edge_roll"} and band.removal is None and band.stage_rms is None
    assert np.array_equal(band.surface_rms, outcome.band.surface_rms)
    assert band.expected_rms is None and "expected_rms_m" not in old.to_json()
    assert band.to_json()["edge_roll_band_m"] == outcome.band.edge_roll.tolist() and band.of_spell(0) == {}


def test_equality_sees_a_difference(outcome: Outcome) -> None:
    assert outcome == replace(outcome)
    assert outcome != replace(outcome, removal=outcome.removal * (1 + 1e-15) + 1e-20)
    assert outcome != replace(outcome, band=None)


def test_long_texts_and_many_spells(outcome: Outcome, tmp_path: Path) -> None:
    # an attribute of fixed length would end at 64 kB
    long = replace(outcome, programme_text="# x\n" * 40000, spells=outcome.spells * 500)
    write_outcome(long, tmp_path / "long.h5")
    assert read_outcome(tmp_path / "long.h5") == long


def test_provenance_and_units(outcome: Outcome, tmp_path: Path) -> None:
    path = tmp_path / "out.h5"
    write_outcome(outcome, path, seed=3)
    with h5py.File(path) as file:
        about = dict(file.attrs)
        assert about["format"] == "wearsim outcome"
        assert about["creator"] == f"wearsim {wearsim.__version__}"
        assert about["seed"] == 3
        assert about["written_utc"].endswith("+00:00")
        assert "numpy" in about["libraries"]
        assert about["programme_toml"] == outcome.programme_text
        assert about["programme_sha256"] == digest(outcome.programme_text)
        bare: list[str] = []

        def units(name: str, item: Any) -> None:
            if isinstance(item, h5py.Dataset) and not {"units", "long_name"} <= set(item.attrs):
                bare.append(name)

        file.visititems(units)
        assert not bare
        assert file["removal"].dims[0][0] == file["radius"]


def test_existing_file_is_kept_unless_forced(outcome: Outcome, tmp_path: Path) -> None:
    path = tmp_path / "out.h5"
    path.write_text("mine")
    with pytest.raises(InputError, match="already exists"):
        write_outcome(outcome, path)
    assert path.read_text() == "mine"
    write_outcome(outcome, path, force=True)
    assert read_outcome(path) == outcome


def test_nothing_is_left_half_written(outcome: Outcome, tmp_path: Path) -> None:
    outcome = replace(outcome, pitch_height={})  # laps are written last
    with pytest.raises(KeyError):
        write_outcome(outcome, tmp_path / "out.h5")
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "old.h5").write_text("old")
    with pytest.raises(KeyError):
        write_outcome(outcome, tmp_path / "old.h5", force=True)
    assert (tmp_path / "old.h5").read_text() == "old"


def test_no_such_folder(outcome: Outcome, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        write_outcome(outcome, tmp_path / "no" / "out.h5")


def test_damaged_files_are_refused(outcome: Outcome, tmp_path: Path) -> None:
    path = tmp_path / "out.h5"
    write_outcome(outcome, path)
    whole = path.read_bytes()
    for name, content in (
        ("empty", b""), ("text", b"radius_mm,error_nm\n0,1\n"), ("garbage", bytes(range(256)) * 40),
        ("cut", whole[: len(whole) // 2]), ("short", whole[:-100]),
    ):  # fmt: skip
        broken = tmp_path / f"{name}.h5"
        broken.write_bytes(content)
        with pytest.raises(StoreError) as caught:
            read_outcome(broken)
        assert str(broken) in str(caught.value)
    for missing in (tmp_path / "none.h5", tmp_path):
        with pytest.raises(StoreError):
            read_outcome(missing)


def test_any_damaged_byte_is_refused_or_harmless(outcome: Outcome, tmp_path: Path) -> None:
    path, broken = tmp_path / "out.h5", tmp_path / "broken.h5"
    write_outcome(outcome, path)
    raw, chance, refused = path.read_bytes(), random.Random(5), 0
    for _ in range(60):
        content, at = bytearray(raw), chance.randrange(len(raw))
        content[at : at + 4] = chance.randbytes(4)
        broken.write_bytes(content)
        try:
            assert read_outcome(broken) == outcome
        except StoreError as error:
            refused += 1
            assert "\n" not in str(error)
    assert refused > 30


def test_what_was_written_over_is_refused(outcome: Outcome, tmp_path: Path) -> None:
    path = tmp_path / "out.h5"

    def number(file: h5py.File) -> None:
        file["removal"][3] *= 1.5

    def attribute(file: h5py.File) -> None:
        file["numbers"].attrs["strehl"] = 0.99

    def text(file: h5py.File) -> None:
        file.attrs["bench_toml"] = str(file.attrs["bench_toml"]) + "#"

    def warning(file: h5py.File) -> None:
        file.attrs["warnings"] = ["all is well"]

    def seal(file: h5py.File) -> None:
        del file.attrs["content_sha256"]

    for change in (number, attribute, text, warning, seal):
        write_outcome(outcome, path, force=True)
        with h5py.File(path, "r+") as file:
            change(file)
        with pytest.raises(StoreError, match="damaged"):
            read_outcome(path)


def test_other_files_and_newer_versions_are_refused(outcome: Outcome, tmp_path: Path) -> None:
    path = tmp_path / "out.h5"

    def altered(change: Any) -> None:
        write_outcome(outcome, path, force=True)
        with h5py.File(path, "r+") as file:
            change(file)

    altered(lambda file: file.attrs.__setitem__("format_version", 999))
    with pytest.raises(StoreError, match="newer wearsim"):
        read_outcome(path)
    altered(lambda file: file.attrs.__setitem__("format", "something else"))
    with pytest.raises(StoreError, match="not an outcome"):
        read_outcome(path)
    for name in ("removal", "spells", "numbers", "laps"):
        altered(lambda file, name=name: file.__delitem__(name))
        with pytest.raises(StoreError):
            read_outcome(path)
