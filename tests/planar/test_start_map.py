"""Height maps from files."""

import h5py
import numpy as np
import pytest

from wearsim.errors import InputError
from wearsim.wear.planar_figure import FigureFrame
from wearsim.wear.start_map import read_height_map


def test_csv_has_its_top_first_and_gaps_off_the_glass(tmp_path):
    path = tmp_path / "map.csv"
    path.write_text("error_nm\n,1,2\n3,4,5\n6,7,\n")
    seen = read_height_map(path)
    assert seen[0, :2] == pytest.approx([6e-9, 7e-9])
    assert np.isnan(seen[0, 2]) and np.isnan(seen[2, 0])


def test_hdf5(tmp_path):
    path = tmp_path / "map.h5"
    with h5py.File(path, "w") as file:
        file["error"] = np.arange(16.0).reshape(4, 4)
        file["error"].attrs["units"] = "um"
    assert read_height_map(path)[1, 2] == pytest.approx(6e-6)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("height\n1,2\n3,4\n", "unknown first line"),
        ("error_nm\n1,2\n3\n", "unequal length"),
        ("error_nm\n1,2\n", "square"),
        ("error_nm\n1,x\n3,4\n", "not a number"),
        ("error_m\n1,2\n3,4\n", "impossible height"),
        ("", "cannot be read"),
    ],
)
def test_what_cannot_be_used_is_said_in_one_line(tmp_path, text, says):
    path = tmp_path / "map.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=says) as caught:
        read_height_map(path)
    assert "map.csv" in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize("name", ["none.csv", "none.h5"])
def test_missing_file(tmp_path, name):
    with pytest.raises(InputError, match="cannot be read"):
        read_height_map(tmp_path / name)


def test_gap_on_the_glass_is_refused(rig):
    error = np.zeros((32, 32))
    error[10, 12] = np.nan
    with pytest.raises(InputError, match="gaps on the glass"):
        FigureFrame(3.0, -1.0, 0.148).height_of_map(error, rig(32).glass)
