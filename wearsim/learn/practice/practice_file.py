"""``practice.toml``: what says that a folder's mirror is simulated, and what it takes to simulate it again."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Annotated, Any

from wearsim.bench.fields import Diameter, InputTable, choice, number, quantity, whole_number
from wearsim.bench.input_errors import check_keys, parse_toml, read_table, read_text
from wearsim.errors import InputError
from wearsim.learn.mirror_folder import PRACTICE, MirrorFolder
from wearsim.learn.practice.mirror import (
    FAULTS,
    PRACTICE_ACCURACY,
    DrawnMirror,
    Fault,
    KnifeEdgeTester,
    PracticeMirror,
    TrueValues,
    draw_mirror,
    draw_true_values,
)
from wearsim.wear.accuracy import PlanarAccuracy
from wearsim.wear.constants import NAMES, Constants

_FACTOR = number("1.0", least=1e-4, most=1e4)


class _MirrorTable(InputTable):
    seed: Annotated[int, whole_number("1", most=2**63 - 1)]
    fault: Annotated[Fault, *choice(*FAULTS)]
    diameter: Diameter
    focal_ratio: Annotated[float, *number("5.0", least=1.0, most=50.0)]
    cells: Annotated[int, whole_number("64", least=16, most=1024)]


class _TesterTable(InputTable):
    windows: Annotated[int, whole_number("8", least=3, most=60)]
    repeats: Annotated[int, whole_number("3", least=1, most=200)]
    sigma: Annotated[float, *quantity("a length", "0.05 mm", "m", "mm", least=1e-9, most=0.1)]


class _TruthTable(InputTable):
    preston: Annotated[float, *_FACTOR]
    stiffness: Annotated[float, *_FACTOR]
    relaxation_time: Annotated[float, *_FACTOR]
    edge_gain: Annotated[float, *_FACTOR]
    stroke_length: Annotated[float, *number("1.05", least=0.2, most=5.0)] = 1.0
    overhang_bias: Annotated[float, *number("0.002", least=-0.2, most=0.2)] = 0.0
    session_spread: Annotated[float, *number("0.1", least=0.0, most=2.0)]


@dataclass(frozen=True)
class Practice:
    """Everything that makes a practice mirror.

    Parameters
    ----------
    seed : int
        Of its bench, its glass, and everything that chance brings.
    fault : str, optional
        One of :data:`~wearsim.learn.practice.mirror.FAULTS`; drawn where not given.
    diameter : float, optional
        [m]; drawn where not given.
    focal_ratio : float, optional
        [1]; drawn where not given.
    true_values : TrueValues, optional
        Drawn from the bench's spread where not given.
    """

    seed: int
    fault: Fault | None = None
    diameter: float | None = None
    focal_ratio: float | None = None
    true_values: TrueValues | None = None
    tester: KnifeEdgeTester = field(default_factory=KnifeEdgeTester)
    accuracy: PlanarAccuracy = PRACTICE_ACCURACY

    def drawn(self) -> DrawnMirror:
        """Its bench and its true glass."""
        return draw_mirror(self.seed, self.fault, self.diameter, self.focal_ratio)

    def values(self) -> TrueValues:
        """Its true values, drawn where they are not given."""
        return self.true_values or draw_true_values(self.drawn().bench, self.seed)

    def mirror(self) -> PracticeMirror:
        """The mirror as it is at the beginning."""
        drawn = self.drawn()
        return PracticeMirror(drawn.bench, self.values(), drawn.start, self.accuracy)


def practice_text(practice: Practice) -> str:
    """TOML of a practice mirror; :func:`read_practice` gives it back."""
    import tomli_w

    drawn, true_values = practice.drawn(), practice.values()
    glass = drawn.bench.mirror
    tables: dict[str, Any] = {
        "mirror": {
            "seed": practice.seed, "fault": drawn.fault, "diameter": f"{glass.diameter!r} m",
            "focal_ratio": 0.5 * glass.radius_of_curvature / glass.diameter, "cells": practice.accuracy.cells,
        },
        "tester": {
            "windows": practice.tester.windows, "repeats": practice.tester.repeats,
            "sigma": f"{practice.tester.sigma!r} m",
        },
        "truth": {
            **{name: getattr(true_values.constants, name) for name in NAMES}, "session_spread": true_values.spread,
        },
    }  # fmt: skip
    head = "# A practice mirror, simulated by wearsim: there is no such glass.\n"
    head += "# [truth] is what calibrate has to find: factors on the constants of bench.toml and on the length of strokes,\n"
    head += "# and how far all strokes are off to one side, in metres. Do not look.\n\n"
    return head + tomli_w.dumps(tables)


def read_practice(folder: MirrorFolder) -> Practice:
    """The practice mirror that a folder says it holds.

    Raises
    ------
    InputError
        Where it says nothing of the kind, or is damaged.
    """
    file = folder.path / PRACTICE
    if not folder.is_practice:
        expected = "a folder that rehearse made; real mirrors are worked by hand"
        raise InputError("not a practice mirror: it has no practice.toml", file=folder.path, expected=expected)
    table = parse_toml(read_text(file, "what a practice mirror is made of"), file)
    check_keys(table, ("mirror", "tester", "truth"), file)
    mirror = read_table(_MirrorTable, table.get("mirror"), "mirror", file)
    tester = read_table(_TesterTable, table.get("tester"), "tester", file)
    truth = read_table(_TruthTable, table.get("truth"), "truth", file)
    constants = Constants(**{name: getattr(truth, name) for name in NAMES})
    return Practice(
        mirror.seed, mirror.fault, mirror.diameter, mirror.focal_ratio,
        TrueValues(constants, truth.session_spread, mirror.seed),
        KnifeEdgeTester(tester.windows, tester.repeats, tester.sigma), replace(PRACTICE_ACCURACY, cells=mirror.cells),
    )  # fmt: skip
