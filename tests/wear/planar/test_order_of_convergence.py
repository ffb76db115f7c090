"""The observed order of convergence, and the size of the error of a time step."""

import numpy as np
import pytest

from wearsim.wear.planar.grid import pressed_lap, round_map

RADII = np.linspace(0.002, 0.147, 50)


def _removal(rig, motion, cells, on_top, **options):
    made = rig(cells, edge_gain=0.3)
    for key, value in options.items():
        made.accuracy = made.accuracy.__class__(**{**vars(made.accuracy), key: value})
    fine = np.linspace(0.0, 0.165, 200)
    made.w[:] = before = round_map(fine, 100e-9 * (fine / 0.15) ** 4, made.glass)
    made.u[:] = pressed_lap(made.w, made.glass, made.pitch)
    made.work(
        motion(length=0.18, sweep=0.06, on_top=on_top, lead=0.005, walk=2 * np.pi / 60, hand_turn=2 * np.pi / 90), 240.0
    )
    return made.rings(before - made.w, RADII)


@pytest.mark.parametrize("on_top", ["tool", "mirror"])
def test_second_order_in_the_cells(rig, motion, on_top):
    """Halving the cells quarters the error of the ring means: slopes 1.6 to 2.7 against 192 cells.

    A small lap whose edge stays at one radius of the glass converges more slowly (1.4 to 1.8 seen).
    """
    best = _removal(rig, motion, 192, on_top)
    error = [np.sqrt(np.mean((_removal(rig, motion, cells, on_top) - best) ** 2)) for cells in (24, 48, 96)]
    order = np.log2(np.array(error[:-1]) / error[1:])
    assert (order > 1.6).all() and (order < 2.7).all(), order
    assert error[-1] < 0.002 * np.ptp(best)


def test_first_order_in_the_time_step(rig, motion):
    """The state stands still for a hundredth of the relaxation time; halving that halves its error."""
    best = _removal(rig, motion, 24, "tool", poses=16, share_of_rate=0.3 / 300)
    error = [
        np.sqrt(np.mean((_removal(rig, motion, 24, "tool", share_of_rate=share / 300) - best) ** 2))
        for share in (1.3, 0.65)
    ]
    assert error[0] < 0.003 * np.ptp(best)
    assert error[1] < 0.7 * error[0]
