"""One run of the small study that others are compared with; kernels are compiled by it, once."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from studies import COARSE, Inline, small_study

from wearsim.study.run import run_study


@pytest.fixture(scope="session")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file of the small study, worked out without interruption by this process alone."""
    path = tmp_path_factory.mktemp("study") / "whole.h5"
    with np.errstate(all="raise"):
        run_study(small_study(), path, Inline(), accuracy=COARSE)
    return path
