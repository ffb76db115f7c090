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
    "Comparison": "wearsim.decide.compare",
    "InputError": "wearsim.errors",
    "Limits": "wearsim.decide.limits",
    "Outcome": "wearsim.wear.outcome",
    "Programme": "wearsim.bench.programme",
    "Proposal": "wearsim.decide.proposal",
    "Spell": "wearsim.bench.programme",
    "WearsimError": "wearsim.errors",
    "compare": "wearsim.decide.compare",
    "design_mask": "wearsim.knifeedge.mask",
    "dump_bench": "wearsim.bench.files",
    "dump_programme": "wearsim.bench.files",
    "expected_readings": "wearsim.knifeedge.expected",
    "library": "wearsim.decide.library",
    "load_bench": "wearsim.bench.files",
    "load_programme": "wearsim.bench.files",
    "load_readings": "wearsim.knifeedge.readings",
    "predict": "wearsim.wear.predict",
    "propose": "wearsim.decide.propose",
    "read_outcome": "wearsim.wear.store",
    "read_profile": "wearsim.bench.profile",
    "reduce_on": "wearsim.knifeedge.on_bench",
    "reduce_readings": "wearsim.knifeedge.reduction",
    "load_study": "wearsim.study.plan",
    "run_study": "wearsim.study.run",
    "read_study": "wearsim.study.result",
    "turns": "wearsim.wear.turns",
    "when_to_stop": "wearsim.knifeedge.stopping",
    "write_outcome": "wearsim.wear.store",
    "write_profile": "wearsim.bench.profile",
}

__all__ = ["__version__", *_PUBLIC]


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        return getattr(importlib.import_module(_PUBLIC[name]), name)
    raise AttributeError(f"module 'wearsim' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
