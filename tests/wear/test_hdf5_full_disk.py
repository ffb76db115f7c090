"""HDF5 files that a full disk or Ctrl-C meets half-way."""

import os
import resource
import signal
from collections.abc import Iterator
from pathlib import Path

import h5py
import numpy as np
import pytest

from tests.helpers.workbench import make_bench, make_programme, make_spell
from wearsim.errors import CouldNotError
from wearsim.wear.outcome_file import read_outcome, write_outcome
from wearsim.wear.predict import predict
from wearsim.wear.sealed_hdf5 import new_hdf5


@pytest.fixture
def hears_ctrl_c() -> Iterator[None]:
    """What a shell starts in the background is deaf to Ctrl-C."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("hears_ctrl_c")
def test_ctrl_c_waits_until_the_file_is_closed(tmp_path: Path) -> None:
    path, after = tmp_path / "a.h5", []
    with pytest.raises(KeyboardInterrupt), new_hdf5(path) as (file, stream):
        file["before"] = np.arange(5.0)
        assert not stream.is_given_up
        os.kill(os.getpid(), signal.SIGINT)
        file["after"] = np.arange(7.0)
        after.append(stream.is_given_up)
    assert after == [True]
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    with h5py.File(path) as whole:
        assert whole["after"][6] == 6.0


def test_a_full_disk_leaves_no_outcome_and_room_takes_it(tmp_path: Path) -> None:
    outcome = predict(make_bench(), make_programme(make_spell("w", length=0.5, side_sweep=0.2, minutes=2.0)))
    path = tmp_path / "out.h5"
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (3_000, before[1]))
    try:
        with pytest.raises(CouldNotError, match="cannot be written"):
            write_outcome(outcome, path)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert not list(tmp_path.iterdir())
    write_outcome(outcome, path)
    assert read_outcome(path).surface_rms == outcome.surface_rms
