"""Runs of the small study that others are compared with: one by a worker process, one in this process."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.helpers.studies import COARSE, Inline, small_study
from wearsim.study.run import run_study


@pytest.fixture(scope="session")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file of the small study, worked out without interruption by one worker process."""
    path = tmp_path_factory.mktemp("study") / "whole.h5"
    run_study(small_study(), path, workers=1, accuracy=COARSE)
    return path


@pytest.fixture(scope="session")
def whole_here(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same by this process."""
    path = tmp_path_factory.mktemp("study") / "whole.h5"
    with np.errstate(all="raise"):
        run_study(small_study(), path, Inline(), accuracy=COARSE)
    return path
