"""Does the band of a mirror's very first readings hold the truth, before any session?

    python -m tests.benchmarks.first_reading [--count 60]

Practice mirrors as closed_loop.py draws them, read once with the knife edge (eight windows, three rows). A line for every
fault: how many of its mirrors have their true RMS within the 90% band, how many lie below and above it, the root mean
square of what the known figure misses and of what its covariance says that it misses. The figures are in docs/learning.md.
"""

from __future__ import annotations

import argparse
from collections import defaultdict

import numpy as np

from tests.benchmarks.real_glass_coverage import glass_of
from wearsim.knifeedge.reduction import reduce_readings
from wearsim.learn.practice.mirror import FAULTS, KnifeEdgeTester, draw_mirror
from wearsim.wear.initial_figure import covariance_root
from wearsim.wear.predict import gauge_for

DRAWS = 200


def judged(seed: int) -> tuple[float, float, float, float, float]:
    """True RMS, its band's ends, and the RMS of what is missed and of what is said to be missed [nm]."""
    drawn = draw_mirror(seed, FAULTS[seed % len(FAULTS)])
    bench, glass, tester = drawn.bench, glass_of(drawn, seed, "real"), KnifeEdgeTester()
    readings = glass.readings(tester.zones(bench), tester.sigma, seed, tester.repeats)
    found = reduce_readings(readings, bench.mirror.geometry)
    aperture = gauge_for(bench, found.radius).aperture
    true = aperture.level(glass.profile(found.radius))
    root = covariance_root(found.covariance)
    normal = np.random.default_rng(seed).standard_normal((DRAWS, root.shape[1]))
    band = np.percentile([aperture.rms(found.figure_error + root @ one) for one in normal], [5, 95])
    said = np.sqrt(sum(aperture.rms(one) ** 2 for one in root.T))
    numbers = (aperture.rms(true), *band, aperture.rms(true - found.figure_error), said)
    return tuple(1e9 * float(one) for one in numbers)  # type: ignore[return-value]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--count", type=int, default=60)
    rows = defaultdict(list)
    for seed in range(parser.parse_args().count):
        rows[FAULTS[seed % len(FAULTS)]].append(judged(seed))
    print("fault: mirrors, within the band, below, above; missed, said to be missed [nm RMS]")
    for fault, those in rows.items():
        true, low, high, missed, said = np.array(those).T
        within = int(np.sum((low <= true) & (true <= high)))
        miss, expected = np.sqrt(np.mean(missed**2)), np.sqrt(np.mean(said**2))
        counts = f"{len(those)}, {within}, {np.sum(true < low)}, {np.sum(true > high)}"
        print(f"{fault}: {counts}; {miss:.1f}, {expected:.1f}")


if __name__ == "__main__":
    main()
