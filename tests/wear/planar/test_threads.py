"""The planar engine's threads: the layer, and several callers at once."""

from __future__ import annotations

import subprocess
import sys

import numba
import pytest

from wearsim import parallel
from wearsim.parallel import LAYER, choose_layer, claim_process, kernel_threads

# In a process of its own: numba keeps the first layer that it used, and the layer stops a process in which two
# threads call it at once.
TWO_CALLERS = """
import os, threading
import numpy as np
import numba
from wearsim.bench.programme import Stroke
from wearsim.wear.accuracy import PlanarAccuracy
from wearsim.wear.planar.motion import Motion
from tests.helpers.planar_rig import planar_pieces
from wearsim.wear.planar.walk import PlanarSpell, walk_spell

spell = PlanarSpell(12.0, 70.0, Motion("tool", Stroke("w", 0.15, 0.06, 0.0, 8.0, 50 / 60), 0.03, 0.02))

def walked(found):
    pieces = planar_pieces(32, edge_gain=0.3)
    w, u = np.zeros((pieces.glass.across.size,) * 2), np.zeros((pieces.pitch.across.size,) * 2)
    walk_spell(spell, pieces, w, u, accuracy=PlanarAccuracy(32, strokes_a_batch=1))
    found.append(w.tobytes())

one, both = [], []
walked(one)
callers = [threading.Thread(target=walked, args=(both,)) for _ in range(4)]
for caller in callers: caller.start()
for caller in callers: caller.join()
assert len(both) == 4 and set(both) == set(one)
assert numba.threading_layer() == os.environ.get("NUMBA_THREADING_LAYER", "workqueue")
child = os.fork()  # a process that has walked can still fork
if child == 0:
    again = []
    walked(again)
    os._exit(0 if again == one else 1)
assert os.waitpid(child, 0)[1] == 0
"""


def test_several_callers_and_a_fork():
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", TWO_CALLERS],
        env=_environment(),
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr


def _environment():
    import os

    kept = {key: value for key, value in os.environ.items() if not key.startswith("NUMBA_THREADING")}
    return {**kept, "PYTHONPATH": os.pathsep.join(sys.path), "NUMBA_NUM_THREADS": "2"}


def test_a_person_s_own_choice_of_layer_stands(monkeypatch):
    monkeypatch.setattr(parallel, "_own_process", False)
    monkeypatch.setattr(numba.config, "THREADING_LAYER", "omp")
    choose_layer()
    assert numba.config.THREADING_LAYER == "omp"
    monkeypatch.setattr(numba.config, "THREADING_LAYER", "default")
    choose_layer()
    assert numba.config.THREADING_LAYER == LAYER


@pytest.mark.parametrize(("has", "layer"), [(True, "omp"), (False, LAYER)])
def test_a_command_s_own_process_takes_openmp_where_it_is_there(has, layer, monkeypatch):
    monkeypatch.setattr(numba.config, "THREADING_LAYER", "default")
    monkeypatch.setattr(parallel, "_own_process", False)
    monkeypatch.setattr(parallel, "_has_openmp", lambda: has)
    monkeypatch.setenv("GOMP_SPINCOUNT", "5")
    claim_process()
    choose_layer()
    assert layer == numba.config.THREADING_LAYER
    assert parallel.os.environ["GOMP_SPINCOUNT"] == "5"  # the person's own


@pytest.mark.parametrize("most", [1, 4])
def test_kernel_threads_are_no_more_than_allowed_and_end(most):
    before = numba.get_num_threads()
    with pytest.raises(KeyboardInterrupt), kernel_threads(most):
        assert numba.get_num_threads() == min(before, most)
        raise KeyboardInterrupt
    assert numba.get_num_threads() == before
