"""Random benches and programmes that the files would take, predicted one by one: what becomes of each.

::

    python -m tests.benchmarks.random_benches 0 10000

works the cases of these numbers, each always the same, and prints how many were predicted, how many refused in words for
a person, and every other end: another exception, a number that is none, more than ten seconds. A third of the benches
is wild: every number anywhere in its range. One in twelve is worked by the planar engine, coarse, and refused where
that takes over :data:`POSES`.
"""

from __future__ import annotations

import collections
import json
import math
import os
import signal
import sys
import time
from typing import Any

import numpy as np

from wearsim.bench.programme import STROKES
from wearsim.bench.toml_io import bench_from_table, programme_from_table
from wearsim.errors import ContactError, WearsimError
from wearsim.wear.accuracy import PlanarAccuracy
from wearsim.wear.outcome import Outcome
from wearsim.wear.predict import predict

SLOW, HOPELESS = 10.0, 120.0
"""A case may take so long, and is given up after [s of the processor: what others do on the machine counts for nothing]."""

POSES = 25_000
"""Of the coarse planar engine in a case, and as many again in the pressings before it: at 0.1 to 0.2 ms each they stay
below the time a case may take."""

REPORTED = 100
"""After so many cases it is said how it stands."""


class Chance:
    """Numbers of one case."""

    def __init__(self, number: int) -> None:
        self.rng = np.random.default_rng([number, 22])
        self.is_wild = bool(self.rng.random() < 1 / 3)

    def between(self, low: float, high: float) -> float:
        """By equal factors."""
        return float(math.exp(self.rng.uniform(math.log(low), math.log(high))))

    def number(self, usual: tuple[float, float], wild: tuple[float, float]) -> float:
        """In the usual range, or anywhere in the wild one."""
        return self.between(*(wild if self.is_wild else usual))

    def maybe(self, share: float = 0.5) -> bool:
        """Yes, with this share."""
        return bool(self.rng.random() < share)

    def one_of(self, *words: Any) -> Any:
        """One of these."""
        return words[int(self.rng.integers(len(words)))]


def bench_table(chance: Chance) -> dict[str, Any]:
    """A bench as its TOML has it."""
    diameter = chance.number((0.1, 0.6), (0.005, 10.0))
    curve = min(1000.0, diameter * chance.number((5.0, 24.0), (0.6, 1000.0)))
    least = 1.2 * (curve - math.sqrt(max(curve**2 - diameter**2 / 4, 0.0))) if curve > diameter / 2 else 0.0
    mirror: dict[str, Any] = {
        "diameter": f"{diameter!r} m", "radius_of_curvature": f"{curve!r} m",
        "thickness": f"{max(least, diameter * chance.number((0.06, 0.2), (0.02, 0.2)), 1e-4)!r} m",
    }  # fmt: skip
    if chance.maybe(0.3):
        mirror["conic"] = (
            float(chance.rng.uniform(-3.0, 0.5)) if not chance.is_wild else float(chance.rng.uniform(-50, 50))
        )
    if chance.maybe(0.3):
        mirror["hole"] = f"{diameter * chance.number((0.05, 0.3), (1e-3, 0.9))!r} m"
    tables: dict[str, Any] = {"mirror": mirror, "figure": figure(chance)}
    laps = [lap(chance, diameter) for _ in range(1 + chance.maybe(0.2))]
    for place, one in enumerate(laps):
        one["name"] = f"lap {place}"
    tables["lap"] = laps
    if chance.maybe(0.6):
        tables["hands"] = hands(chance)
    if chance.maybe(0.4):
        tables["wear"] = {
            "preston": f"{chance.number((1e-13, 4e-12), (1e-15, 1e-9))!r} / Pa",
            "edge_gain": chance.number((0.05, 1.0), (1e-3, 20.0)),
            "temperature": f"{chance.number((15.0, 25.0), (0.1, 80.0))!r} degC",
        }  # fmt: skip
        if chance.maybe():
            tables["wear"]["edge_length"] = f"{chance.number((1e-3, 0.01), (1e-5, 100.0))!r} m"
    return tables


def figure(chance: Chance) -> dict[str, Any]:
    """A conic, or Zernike terms [nm]."""
    if chance.maybe(0.6):
        return {
            "conic": float(chance.rng.uniform(-2.0, 0.5) if not chance.is_wild else chance.rng.uniform(-50.0, 50.0))
        }
    size = chance.number((10.0, 300.0), (1e-3, 1e6))
    return {"zernike": (size * np.tanh(chance.rng.standard_normal(16))).tolist()}


def lap(chance: Chance, diameter: float) -> dict[str, Any]:
    """A lap for a mirror of this diameter [m]."""
    across = max(0.005, diameter * chance.number((0.3, 1.1), (0.02, 1.2)))
    table: dict[str, Any] = {
        "diameter": f"{across!r} m", "mass": f"{chance.number((0.5, 15.0), (1e-3, 1e4))!r} kg",
        "start": chance.one_of("pressed", "spherical"),
    }  # fmt: skip
    if chance.maybe():
        table["stiffness"] = f"{chance.number((1e9, 2e10), (1e6, 1e12))!r} Pa/m"
        table["relaxation_time"] = f"{chance.number((60.0, 1500.0), (1.0, 1e8))!r} s"
    if chance.maybe(0.3):
        table["facet"] = f"{chance.number((0.01, 0.05), (1e-5, 100.0))!r} m"
        table["channel"] = f"{chance.number((1e-3, 0.01), (1e-6, 10.0))!r} m"
        table["facet_shape"] = chance.one_of("square", "hexagonal", "none")
    if chance.maybe(0.1):
        table["ring_inner"] = f"{across * chance.number((0.2, 0.5), (1e-3, 0.949))!r} m"
    return table


def hands(chance: Chance) -> dict[str, Any]:
    """Hands that push, shake and lean."""
    table: dict[str, Any] = {
        "push": f"{chance.number((5.0, 100.0), (1e-3, 1e4))!r} N",
        "length_jitter": min(1.0, chance.number((0.01, 0.15), (1e-3, 1.0))),
        "centre_jitter": f"{chance.number((5e-4, 5e-3), (1e-6, 0.2))!r} m",
        "friction": chance.number((0.05, 0.3), (1e-3, 2.0)),
        "push_height": f"{chance.number((0.01, 0.08), (1e-4, 10.0))!r} m",
    }  # fmt: skip
    if chance.maybe(0.3):
        table["push_offset"] = [
            f"{chance.rng.choice([-1, 1]) * chance.number((1e-3, 0.02), (1e-4, 1.0))!r} m" for _ in "ab"
        ]
    return table


def programme_table(chance: Chance, laps: int) -> dict[str, Any]:
    """One to four spells."""
    return {"spell": [spell(chance, laps) for _ in range(1 + int(chance.rng.integers(4)))]}


def spell(chance: Chance, laps: int) -> dict[str, Any]:
    """One spell."""
    word = chance.one_of(*STROKES)
    kind = STROKES[word]
    table: dict[str, Any] = {
        "stroke": word, "minutes": chance.number((1.0, 40.0), (1e-3, 1e4)), "on_top": chance.one_of("tool", "mirror"),
        "lap": f"lap {int(chance.rng.integers(laps))}",
    }  # fmt: skip
    sizes = {
        "length": chance.number((0.1, 0.6), (1e-4, 2.0)), "side_sweep": chance.number((0.02, 0.3), (1e-4, 2.0)),
        "side_overhang": chance.number((0.02, 0.4), (1e-4, 2.0)),
        "strokes_per_sweep": chance.number((4.0, 12.0), (2.0, 1000.0)),
    }  # fmt: skip
    table |= {key: sizes[key] for key in kind.needs} | {key: sizes[key] for key in kind.may if chance.maybe()}
    if "rate" not in kind.refuses and chance.maybe():
        table["rate"] = chance.number((20.0, 90.0), (0.1, 600.0))
    return table


def worked(tables: dict[str, Any], work: dict[str, Any], is_planar: bool) -> Outcome:
    """A programme predicted on a bench."""
    bench = bench_from_table(tables)
    programme = programme_from_table(work).check_on(bench)
    if is_planar:
        return predict(bench, programme, "planar", planar=PlanarAccuracy(cells=32, poses=8, most_poses=POSES))
    return predict(bench, programme, draws=0)


def warm_up(is_planar: bool) -> None:
    """Load and compile everything, which no case is to pay for."""
    worked(bench_table(Chance(0)), {"spell": [{"stroke": "one-third", "minutes": 1.0}]}, is_planar)


def end_of(number: int) -> tuple[str, str]:
    """What becomes of a case: ``predicted``, ``refused`` or a fault, and in words why."""
    chance = Chance(number)
    tables = bench_table(chance)
    work = programme_table(chance, len(tables["lap"]))
    is_planar = chance.maybe(1 / 12)
    try:
        outcome = worked(tables, work, is_planar)
        json.dumps(outcome.to_json(), allow_nan=False)
    except ContactError as error:
        return "no balance", str(error)
    except WearsimError as error:
        return "refused", str(error)
    except Exception as error:
        place = error.__traceback__
        while place is not None and place.tb_next is not None:
            place = place.tb_next
        where = "" if place is None else f" ({place.tb_frame.f_code.co_filename}:{place.tb_lineno})"
        return "fault", f"{type(error).__name__}: {error}{where}"
    return "predicted", ""


def work(first: int, last: int, pipe: int) -> None:
    """Work cases one by one in a process of its own, which the clock ends where one is hopeless."""
    signal.signal(signal.SIGPROF, signal.SIG_DFL)
    for number in range(first, last):
        signal.setitimer(signal.ITIMER_PROF, HOPELESS)
        began = time.process_time()
        kind, words = end_of(number)
        taken = time.process_time() - began
        os.write(pipe, (json.dumps([number, kind, taken, words[:300]]) + "\n").encode())


def main(first: int, last: int) -> None:
    """Work the cases, and print what became of them."""
    counts: collections.Counter[str] = collections.Counter()
    longest = 0.0
    for planar in (False, True):
        warm_up(planar)
    at = first
    while at < last:
        reading, writing = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(reading)
            work(at, last, writing)
            os._exit(0)
        os.close(writing)
        with os.fdopen(reading) as lines:
            for line in lines:
                number, kind, taken, words = json.loads(line)
                at, longest = number + 1, max(longest, taken)
                counts[kind] += 1
                counts["over ten seconds"] += taken > SLOW
                if kind in ("fault", "no balance") or taken > SLOW:
                    print(f"{number}: {kind}, {taken:.1f} s: {words}", flush=True)
                if (at - first) % REPORTED == 0:
                    print(f"{at - first} cases so far: {dict(counts)}; the longest {longest:.1f} s", flush=True)
        if os.waitpid(child, 0)[1] != 0:
            counts["given up"] += 1
            print(f"{at}: given up", flush=True)
            at += 1
    print(f"{last - first} cases: {dict(counts)}; the longest {longest:.1f} s")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]))
