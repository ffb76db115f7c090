"""How far the round engine's removal stands from the planar one's, jitter and all: the numbers of Discrepancy.

    python -m tests.benchmarks.discrepancy_table --count 8 --cells 64 128

Practice mirrors with the bench's own constants and random programmes. The table is docs/learning.md's.
"""

from __future__ import annotations

import argparse

import numpy as np

from tests.benchmarks.learn_coverage import random_programme
from wearsim.learn.practice.mirror import PracticeMirror, TrueValues, draw_mirror
from wearsim.wear.accuracy import PlanarAccuracy
from wearsim.wear.predict import gauge_for, predict

INSIDE, RIM = 0.92, 0.99


def row(seed: int, cells: int) -> tuple[float, float, float, float, float]:
    """Mean removal, RMS of its shape, RMS of the difference, the largest inside and at the rim [nm]."""
    drawn = draw_mirror(seed)
    programme = random_programme(np.random.default_rng(seed))
    radial = predict(drawn.bench, programme, draws=0, start=drawn.start)
    accuracy = PlanarAccuracy(cells=cells, poses=12, share_of_rate=0.02)
    mirror = PracticeMirror(drawn.bench, TrueValues(seed=seed), drawn.start, accuracy)
    before = mirror.error
    mirror.work(programme)
    removal = np.interp(radial.radius, mirror.radius, before - mirror.error)
    aperture = gauge_for(drawn.bench, radial.radius).aperture
    apart = aperture.level(removal - radial.removal)
    x = radial.radius / radial.radius[-1]
    at_rim = (x >= INSIDE) & (x <= RIM)
    shape = aperture.rms(aperture.level(radial.removal))
    numbers = aperture.mean(radial.removal), shape, aperture.rms(apart), np.abs(apart[x < INSIDE]).max()
    return tuple(1e9 * float(value) for value in (*numbers, np.abs(apart[at_rim]).max()))  # type: ignore[return-value]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=8)
    parser.add_argument("--cells", type=int, nargs="+", default=[64, 128])
    given = parser.parse_args()
    print(
        "| mirror | cells | mean removal | RMS of its shape | RMS difference | largest, inside 0.92 | largest, 0.92-0.99 |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for seed in range(given.count):
        for cells in given.cells:
            print(f"| {seed} | {cells} | " + " | ".join(f"{value:.1f}" for value in row(seed, cells)) + " |")


if __name__ == "__main__":
    main()
