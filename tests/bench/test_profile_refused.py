"""Malformed profiles and unreadable files: each gives one clear line that names the file, row and column."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import h5py
import pytest

from wearsim.bench import input_errors
from wearsim.bench.figure_source import height_map
from wearsim.bench.mirror import Mirror
from wearsim.bench.profile import read_profile
from wearsim.bench.toml_io import load_bench, load_programme
from wearsim.errors import InputError

# what stands in a sound profile, what stands there instead, and what the line must say
MALFORMED = [
    ("radius_mm,error_nm", "radius_mm,height_nm", ["line 1", "wrong columns", "radius_mm,error_nm"]),
    ("radius_mm,error_nm", "error_nm,radius_mm", ["line 1", "wrong columns"]),
    ("radius_mm,error_nm,sigma_nm", "radius_mm", ["line 1", "wrong columns"]),
    ("radius_mm,error_nm,sigma_nm\n", "", ["line 1", "wrong columns"]),
    ("radius_mm", "radius", ["line 1, column radius", "the unit is missing", 'got "radius";']),
    ("error_nm", "error_waves", ["line 1, column error", 'unknown unit "waves"']),
    ("error_nm", "error_kg", ["line 1, column error", "wrong kind of unit"]),
    (",sigma_nm", "", ["line 2", "wrong columns", "2 numbers"]),
    ("50,12.5,4", "50,12.5", ["line 3", "wrong columns", "3 numbers"]),
    ("50,12.5,4", "50;12.5;4", ["line 3", "wrong columns"]),
    ("50,12.5,4", "50,high,4", ["line 3, column error", '"high"']),
    ("50,12.5,4", "50,,4", ["line 3, column error", "not a finite number"]),
    ("50,12.5,4", "50,nan,4", ["line 3, column error", "not a finite number"]),
    ("50,12.5,4", "50,inf,4", ["line 3, column error", "not a finite number"]),
    ("50,12.5,4", "50,1e999,4", ["line 3, column error", "too large"]),
    ("50,12.5,4", "50,2e6,4", ["line 3, column error", "1 mm"]),
    ("50,12.5,4", "50,12.5,-4", ["line 3, column sigma", "not a standard deviation"]),
    ("50,12.5,4", "100,12.5,4", ["line 4, column radius", "do not increase", "100 mm"]),
    ("50,12.5,4", "120,12.5,4", ["line 4, column radius", "do not increase"]),
    ("0,0,5\n", "", ["line 2, column radius", "does not start at the centre"]),
    ("0,0,5", "-1,0,5", ["line 2, column radius", "does not start at the centre"]),
    ("148,-5,4", "151,-5,4", ["line 6, column radius", "beyond the mirror's rim", "150 mm"]),
    ("140,80,3\n148,-5,4\n", "", ["line 4, column radius", "does not reach the rim", "135 mm"]),
    ("50,12.5,4\n100,-30,3\n140,80,3\n", "", ["too few", "got 2"]),
    ("50,12.5,4\n", "50,12.5,4\n50.000001,24.5,4\n", ["too steep to be a figure error; is the unit right?", "50 mm"]),
    ("148,-5,4", "148,-5e5,4", ["too steep to be a figure error; is the unit right?", "10 um per mm"]),
]


@pytest.fixture
def mirror() -> Mirror:
    return Mirror(diameter=0.3, radius_of_curvature=3.0)


@pytest.mark.parametrize(("sound", "instead", "fragments"), MALFORMED, ids=lambda part: str(part)[:40])
def test_one_clear_line(
    sound: str,
    instead: str,
    fragments: list[str],
    mirror: Mirror,
    spoil: Callable[[str, str, str], Path],
    refused: Callable[..., str],
) -> None:
    path = spoil("profile.csv", sound, instead)
    before = sorted(path.parent.iterdir())
    refused(lambda: read_profile(path, mirror), "profile.csv: ", *fragments)
    assert sorted(path.parent.iterdir()) == before


@pytest.mark.parametrize(
    ("text", "fragments"),
    [
        ("radius_mm,error_nm,sigma_nm,smooth_nm\n0,0,5,1\n50,0,5,6\n150,0,5,1\n", ["line 3, column smooth", "sigma"]),
        ("radius_mm,error_nm,sigma_nm,smooth_nm\n0,0,5,1\n50,0,5,-1\n150,0,5,1\n", ["line 3, column smooth"]),
        ("radius_mm,error_nm,sigma_nm,smooth_nm\n0,0,5,1\n50,0,5\n150,0,5,1\n", ["line 3", "4 numbers"]),
        ("radius_mm,error_nm,smooth_nm\n0,0,1\n50,0,1\n150,0,1\n", ["line 1", "wrong columns"]),
        ("radius_mm,error_nm,sigma_nm,smooth\n0,0,5,1\n50,0,5,1\n150,0,5,1\n", ["line 1, column smooth"]),
    ],
)
def test_a_smooth_part_that_is_none(
    text: str, fragments: list[str], mirror: Mirror, tmp_path: Path, refused: Callable[..., str]
) -> None:
    path = tmp_path / "profile.csv"
    path.write_text(text)
    refused(lambda: read_profile(path, mirror), "profile.csv: ", *fragments)


@pytest.mark.parametrize("text", ["", "\n\n", "# only a comment\n"])
def test_empty(text: str, mirror: Mirror, tmp_path: Path, refused: Callable[..., str]) -> None:
    path = tmp_path / "profile.csv"
    path.write_text(text)
    refused(lambda: read_profile(path, mirror), "profile.csv: empty", "a header with units")


READERS = {
    "bench": load_bench,
    "programme": load_programme,
    "profile": lambda path: read_profile(path, Mirror(diameter=0.3, radius_of_curvature=3.0)),
}


@pytest.mark.parametrize("reader", READERS.values(), ids=READERS)
class TestUnreadable:
    """What cannot be opened, or is no text, whoever asks for it."""

    def test_missing(self, reader: Callable[[Path], object], tmp_path: Path, refused: Callable[..., str]) -> None:
        refused(lambda: reader(tmp_path / "gone.x"), "gone.x: no such file")
        refused(lambda: reader(tmp_path / "no" / "gone.x"), "gone.x: no such file")

    def test_folder(self, reader: Callable[[Path], object], tmp_path: Path, refused: Callable[..., str]) -> None:
        refused(lambda: reader(tmp_path), str(tmp_path), "this is a folder, not a file")

    def test_below_a_file(self, reader: Callable[[Path], object], folder: Path, refused: Callable[..., str]) -> None:
        refused(lambda: reader(folder / "bench.toml" / "x"), "cannot be read")

    @pytest.mark.parametrize(
        ("raw", "fragment"),
        [(bytes(range(256)), "binary"), (b"\xff\xfe[\xe4]", "not UTF-8")],
        ids=["binary", "another encoding"],
    )
    def test_no_text(
        self, reader: Callable[[Path], object], raw: bytes, fragment: str, tmp_path: Path, refused: Callable[..., str]
    ) -> None:
        path = tmp_path / "file.x"
        path.write_bytes(raw)
        refused(lambda: reader(path), "file.x: ", fragment)

    def test_no_permission(
        self,
        reader: Callable[[Path], object],
        folder: Path,
        refused: Callable[..., str],
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:
        path = folder / "profile.csv"
        path.chmod(0)
        if os.access(path, os.R_OK):  # the administrator may read everything: let the system say no in his stead

            def denied(*_: object, **__: object) -> None:
                raise PermissionError(13, "Permission denied")

            monkeypatch.setattr(input_errors, "open", denied, raising=False)
        refused(lambda: reader(path), "profile.csv: no permission to read it")

    def test_too_large(
        self,
        reader: Callable[[Path], object],
        folder: Path,
        refused: Callable[..., str],
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:
        monkeypatch.setattr("wearsim.bench.input_errors.LARGEST", 10)
        refused(lambda: reader(folder / "profile.csv"), "profile.csv: larger than")


@pytest.mark.parametrize("shape", [(5000, 5000), (100_000, 2), (5000,), (4, 4, 5000)])
def test_a_height_map_that_no_memory_holds(shape: tuple[int, ...], tmp_path: Path) -> None:
    """A file of a few kilobytes that says it has so many cells; none is written, none is read."""
    path = tmp_path / "map.h5"
    with h5py.File(path, "w") as file:
        file.create_dataset("error", shape=shape, dtype=float, chunks=True).attrs["units"] = "nm"
    with pytest.raises(InputError, match=r"too large a height map.*at most 2048 cells across"):
        height_map(path.read_bytes(), path)
