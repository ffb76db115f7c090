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
    "Bench": "wearsim.bench.bench",
    "Outcome": "wearsim.wear.outcome",
    "Programme": "wearsim.bench.programme",
    "Spell": "wearsim.bench.programme",
    "WearsimError": "wearsim.errors",
    "dump_bench": "wearsim.bench.files",
    "dump_programme": "wearsim.bench.files",
    "load_bench": "wearsim.bench.files",
    "load_programme": "wearsim.bench.files",
    "library": "wearsim.decide.library",
    "predict": "wearsim.wear.predict",
    "propose": "wearsim.decide.propose",
    "read_outcome": "wearsim.wear.store",
    "write_outcome": "wearsim.wear.store",
}

__all__ = ["__version__", *_PUBLIC]


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        return getattr(importlib.import_module(_PUBLIC[name]), name)
    raise AttributeError(f"module 'wearsim' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
