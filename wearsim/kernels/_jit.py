"""The one wrapper that fixes how kernels are compiled.

``fastmath`` allows sums to be reordered and products to be contracted, nothing that breaks NaN or infinity.
The cache folder carries a digest of every kernel's source: a cached function does not notice when a jitted
helper in another file changes, so a change anywhere makes a new folder. The digest counts where the source lies,
too: what is compiled for one copy of the package is not found by another.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba

FASTMATH = {"reassoc", "contract", "arcp", "nsz"}


def _digest() -> str:
    here = Path(__file__).resolve().parent
    digest = hashlib.sha256(f"{numba.__version__} {here}".encode())
    for source in sorted(here.glob("*.py")):
        digest.update(source.read_bytes())
    return digest.hexdigest()[:12]


def cache_folder() -> Path:
    """Folder that holds the compiled kernels of exactly this source."""
    base = os.environ.get("NUMBA_CACHE_DIR") or os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(base) / "wearsim" / _digest()


def is_compiled() -> bool:
    """Whether kernels of exactly this source have been compiled here before."""
    return any(CACHE.rglob("*.nbi")) if CACHE.is_dir() else False


CACHE = cache_folder()


def kernel(function: Callable[..., Any] | None = None, /, **options: Any) -> Any:
    """Compile a kernel: nogil, cached in a folder of this source's own, IEEE error model."""
    if function is None:
        return lambda inner: kernel(inner, **options)
    settings: dict[str, Any] = {"nogil": True, "fastmath": FASTMATH, "error_model": "numpy", **options}
    config: Any = numba.config
    before = config.CACHE_DIR
    config.CACHE_DIR = str(CACHE)
    try:
        return numba.njit(cache=True, **settings)(function)
    except RuntimeError:  # no writable place for a cache: compile in memory
        return numba.njit(**settings)(function)
    finally:
        config.CACHE_DIR = before


def inlined(function: Callable[..., Any]) -> Any:
    """Compile a kernel that other kernels call: it becomes part of each caller.

    A helper left out of line is compiled into its own object and into every caller's, each rounded as its surroundings
    allow, and whichever is loaded first answers for all: the last bit of a result would hang on what ran before.
    """
    return kernel(function, forceinline=True)
