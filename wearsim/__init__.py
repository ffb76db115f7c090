"""wearsim: what a stroke does to a mirror, and what to do next.

>>> import wearsim as ws
>>> bench = ws.load_bench("bench.toml")                      # doctest: +SKIP
>>> outcome = ws.predict(bench, ws.load_programme("p.toml")) # doctest: +SKIP
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

# name -> module that holds it; imported on first use, so that ``import wearsim`` and ``--help`` stay quick
_PUBLIC: dict[str, str] = {
    "Accuracy": "wearsim.wear.accuracy",
    "Belief": "wearsim.wear.constants",
    "Bench": "wearsim.bench.bench",
    "Calibration": "wearsim.learn.calibrate",
    "Comparison": "wearsim.decide.compare",
    "Forecast": "wearsim.study.forecast",
    "History": "wearsim.learn.history",
    "InputError": "wearsim.errors",
    "Limits": "wearsim.decide.limits",
    "MirrorFolder": "wearsim.learn.mirror_folder",
    "MirrorGeometry": "wearsim.figure.conic",
    "Outcome": "wearsim.wear.outcome",
    "PlanarAccuracy": "wearsim.wear.accuracy",
    "PresentState": "wearsim.learn.present_state",
    "Programme": "wearsim.bench.programme",
    "Proposal": "wearsim.decide.proposal",
    "Session": "wearsim.learn.mirror_folder",
    "SessionNote": "wearsim.learn.mirror_folder",
    "Spell": "wearsim.bench.programme",
    "WearsimError": "wearsim.errors",
    "calibrate": "wearsim.learn.calibrate",
    "calibrated_state": "wearsim.learn.present_state",
    "compare": "wearsim.decide.compare",
    "design_mask": "wearsim.knifeedge.mask",
    "dump_bench": "wearsim.bench.toml_io",
    "dump_programme": "wearsim.bench.toml_io",
    "expected_readings": "wearsim.knifeedge.forward_model",
    "forecast": "wearsim.study.forecast",
    "history": "wearsim.learn.history",
    "library": "wearsim.decide.stroke_library",
    "load_bench": "wearsim.bench.toml_io",
    "load_programme": "wearsim.bench.toml_io",
    "load_readings": "wearsim.knifeedge.readings",
    "load_study": "wearsim.study.plan",
    "open_folder": "wearsim.learn.mirror_folder",
    "predict": "wearsim.wear.predict",
    "propose": "wearsim.decide.propose",
    "read_outcome": "wearsim.wear.outcome_file",
    "read_profile": "wearsim.bench.profile",
    "read_study": "wearsim.study.study_file",
    "record": "wearsim.learn.record",
    "reduce_readings": "wearsim.knifeedge.reduction",
    "run_study": "wearsim.study.run",
    "turns": "wearsim.wear.rotation",
    "when_to_stop": "wearsim.knifeedge.stopping",
    "write_outcome": "wearsim.wear.outcome_file",
    "write_profile": "wearsim.bench.profile",
}

__all__ = ["__version__", *_PUBLIC]


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        return getattr(importlib.import_module(_PUBLIC[name]), name)
    raise AttributeError(f"module 'wearsim' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
