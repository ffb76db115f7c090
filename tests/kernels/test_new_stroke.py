"""A stroke is added in two files: a copy of the package gets a figure of eight and is asked all over for it."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import wearsim

ROOT = Path(wearsim.__file__).resolve().parents[1]
ADDED = {
    "wearsim/bench/programme.py": (
        '    "press": StrokeKind(',
        '    "eight": StrokeKind("figure of eight", 3, ("length", "side_sweep")),\n',
    ),
    "wearsim/kernels/stroke_path.py": (
        "\n\n@kernel\ndef follow_path(",
        """    elif kind == 3:
        out[1] += sweep * np.sin(4.0 * np.pi * phase)
        out[3] = 4.0 * np.pi * sweep * np.cos(4.0 * np.pi * phase)
""",
    ),
}
ASKED = """
import json
import numpy as np
from wearsim.bench.toml_io import programme_from_table
from wearsim.decide.stroke_library import StrokeSpec
from wearsim.show.strokes import spell_title, stroke_path
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.planar.motion import Motion, poses_of
from wearsim.wear.radial.path_weights import load_cases, offset_weights
from wearsim.wear.strokes import path_of, stroke_reach

table = {"stroke": "eight", "length": 0.5, "side_sweep": 0.2, "minutes": 10.0}
spell = programme_from_table({"spell": [table]}).spells[0]
stroke = spell.stroke_on(0.3)
moments = np.linspace(0.0, 1.0, 33)[None, :]
weights = offset_weights(stroke, (0.0, 0.0), True, load_cases(0.0, (0.0, 0.0)), 0.15, 0.149, DEFAULT)
print(json.dumps({
    "words": spell_title(spell),
    "path": np.array(path_of(stroke, moments))[:, 0].tolist(),
    "drawn": np.array(stroke_path(stroke)).tolist(),
    "planar": poses_of(Motion("tool", stroke), moments, 1.0)[0, :, :2].T.tolist(),
    "reach": stroke_reach(stroke),
    "mean_offset": float(weights.time[:, 0] @ weights.offset),
    "proposed": StrokeSpec("tool", None, "eight", 0.5, 0.2).spell(10.0, 50.0).stroke_on(0.3) == stroke,
}))
"""


def test_a_figure_of_eight(tmp_path: Path) -> None:
    shutil.copytree(ROOT / "wearsim", tmp_path / "wearsim", ignore=shutil.ignore_patterns("__pycache__"))
    (tmp_path / "configs").symlink_to(ROOT / "configs")
    for file, (before, lines) in ADDED.items():
        text = (tmp_path / file).read_text(encoding="utf-8")
        assert text.count(before) == 1
        (tmp_path / file).write_text(text.replace(before, lines + before), encoding="utf-8")
    # the kernels as plain functions: nothing is compiled for a copy that is thrown away
    environment = {**os.environ, "PYTHONPATH": str(tmp_path), "NUMBA_DISABLE_JIT": "1"}
    done = subprocess.run(
        [sys.executable, "-c", ASKED], env=environment, cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    phase = 2.0 * np.pi * np.linspace(0.0, 1.0, 33)
    rate = 2.0 * np.pi * 50.0 / 60.0
    x, y = 0.075 * np.sin(phase), 0.06 * np.sin(2.0 * phase)
    assert found["words"] == "tool on top, figure of eight"
    np.testing.assert_allclose(found["path"][:2], [x, y], atol=1e-15)
    np.testing.assert_allclose(found["path"][2], rate * 0.075 * np.cos(phase), atol=1e-12)
    np.testing.assert_allclose(found["path"][3], rate * 0.12 * np.cos(2.0 * phase), atol=1e-12)
    np.testing.assert_allclose(found["planar"], [x, y], atol=1e-15)
    drawn = 2.0 * np.pi * np.linspace(0.0, 1.0, len(found["drawn"][0]))
    np.testing.assert_allclose(found["drawn"], [0.075 * np.sin(drawn), 0.06 * np.sin(2.0 * drawn)], atol=1e-15)
    fine = 2.0 * np.pi * np.linspace(0.0, 1.0, 20001)
    offset = np.hypot(0.075 * np.sin(fine), 0.06 * np.sin(2.0 * fine))
    assert found["reach"] == pytest.approx(offset.max(), rel=1e-3)
    assert found["mean_offset"] == pytest.approx(offset.mean(), rel=1e-3)
    assert found["proposed"]
