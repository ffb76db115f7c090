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
_PUBLIC: dict[str, str] = {}

__all__ = ["__version__", *_PUBLIC]


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        return getattr(importlib.import_module(_PUBLIC[name]), name)
    raise AttributeError(f"module 'wearsim' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
