"""The ready pieces: all load, each value has a label, and the worked benches are as different as promised."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import wearsim
from wearsim.bench import materials as catalogue
from wearsim.bench.profile import read_profile
from wearsim.bench.toml_io import dump_bench, load_bench
from wearsim.errors import InputError

LABELS = ("judgement", "from memory", "by definition", "derived", "[read")


@pytest.mark.parametrize("name", catalogue.names("benches"))
def test_worked_bench(name: str) -> None:
    bench = load_bench(name)
    assert "invented for wearsim" in bench.text
    if bench.figure.profile is not None:
        profile = read_profile(bench.figure.profile, bench.mirror)
        assert "Invented for wearsim" in bench.figure.profile.read_text()
        assert 20e-9 < np.ptp(profile.error) < 2e-6
    assert dump_bench(bench)


def test_worked_benches_differ_in_size_focal_ratio_and_complaint() -> None:
    benches = [load_bench(name) for name in catalogue.names("benches")]
    assert len(benches) >= 3
    assert len({bench.mirror.diameter for bench in benches}) == len(benches)
    ratios = {bench.mirror.radius_of_curvature / 2 / bench.mirror.diameter for bench in benches}
    assert len(ratios) >= 2
    assert len({bench.figure for bench in benches}) == len(benches)


def test_the_half_metre_lap_weighs_about_half_of_its_mirror() -> None:
    """Common practice, no source."""
    bench = load_bench("oblate-500")
    assert bench.lap().mass / bench.mirror.piece_mass == pytest.approx(0.5, abs=0.05)


def test_every_ready_piece_loads_and_names_its_source() -> None:
    sources = [source for name in catalogue.names("glasses") for source in _sources_of_glass(name)]
    sources += [catalogue.abrasive(name).wear_source for name in catalogue.names("abrasives")]
    sources += [catalogue.pitch(name).source for name in catalogue.names("pitches")]
    assert len(sources) >= 12
    assert all(any(label in source for label in LABELS) for source in sources)


def _sources_of_glass(name: str) -> tuple[str, ...]:
    glass = catalogue.glass(name)
    return glass.density_source, glass.wear_source, glass.heat_source, glass.elastic_source


def test_a_file_of_that_name_comes_before_the_ready_bench(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.copy(folder / "bench.toml", folder / "raised-zone-300")
    monkeypatch.chdir(folder)
    assert load_bench("raised-zone-300").mirror.hole == 0.04
    (folder / "raised-zone-300").unlink()
    assert load_bench("raised-zone-300").mirror.hole == 0.0


@pytest.mark.parametrize("name", ["raised-zone", "../benches/raised-zone-300", "", "a\0b"])
def test_no_such_bench(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, refused: Callable[..., str]) -> None:
    monkeypatch.chdir(tmp_path)
    refused(lambda: load_bench(name))


def test_inside_an_installed_package_its_own_folder_counts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert (catalogue.configs_folder() / "glasses.toml").is_file()
    (tmp_path / "wearsim" / "configs").mkdir(parents=True)
    monkeypatch.setattr(catalogue.resources, "files", lambda _: tmp_path / "wearsim")
    assert catalogue.configs_folder() == tmp_path / "wearsim" / "configs"
    assert wearsim.__version__


@pytest.mark.parametrize(
    ("piece", "said", "meant"),
    [
        ("glass", "plate glass", "soda-lime"), ("glass", "Float Glass", "soda-lime"), ("glass", "quartz", "fused-silica"),
        ("glass", "Borosilicate", "borosilicate"), ("glass", "fused silica", "fused-silica"),
        ("abrasive", "cerium", "cerium-oxide"),
        ("abrasive", "Cerium Oxide", "cerium-oxide"), ("abrasive", "jeweller's rouge", "rouge"),
        ("pitch", "Very soft", "very-soft"),
    ],
)  # fmt: skip
def test_common_names_of_the_trade_are_understood(piece: str, said: str, meant: str) -> None:
    pick = getattr(catalogue, piece)
    assert pick(said) == pick(meant)


def test_every_other_name_says_what_is_meant_and_means_one_thing() -> None:
    for file in ("glasses.toml", "abrasives.toml", "pitches.toml"):
        tables = catalogue._tables(file)
        others = [other for table in tables.values() for other in table.get("also", {})]
        assert len({catalogue._plain(other) for other in others}) == len(others)
        assert not {catalogue._plain(other) for other in others} & set(tables)
        assert all(meaning for table in tables.values() for meaning in table.get("also", {}).values())


def test_a_slip_in_a_common_name_is_answered_with_the_proper_one() -> None:
    with pytest.raises(InputError, match='"soda-lime"'):
        catalogue.glass("plait glass")


def test_pieces_are_listed_with_what_people_call_them() -> None:
    found = catalogue.called("glasses")
    assert any(one.startswith("soda-lime (plate, ") for one in found) and len(found) == len(catalogue.names("glasses"))
    assert catalogue.called("pitches")[2].startswith("medium")
