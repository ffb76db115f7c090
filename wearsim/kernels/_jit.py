"""The one wrapper that fixes how kernels are compiled.

``fastmath`` allows sums to be reordered and products to be contracted, nothing that breaks NaN or infinity.
The cache folder carries a digest of every kernel's source: a cached function does not notice when a jitted
helper in another file changes, so a change anywhere makes a new folder. Its name says where the source lies,
too: what is compiled for one copy of the package is not found by another.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, ParamSpec, TypeVar, cast, overload

import numba
from numba.core import types
from numba.extending import intrinsic

P = ParamSpec("P")
R = TypeVar("R")
FASTMATH = {"reassoc", "contract", "arcp", "nsz"}


def source_digest() -> str:
    """Digest of every kernel's source and of the compiler's version: the same wherever the package lies."""
    digest = hashlib.sha256(numba.__version__.encode())
    for source in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(source.read_bytes())
    return digest.hexdigest()[:12]


def cache_folder() -> Path:
    """Folder that holds the compiled kernels of exactly this source, in this place."""
    base = os.environ.get("NUMBA_CACHE_DIR") or os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    place = hashlib.sha256(bytes(Path(__file__).resolve().parent)).hexdigest()[:6]
    return Path(base) / "wearsim" / f"{source_digest()}-{place}"


def is_compiled() -> bool:
    """Whether kernels of exactly this source have been compiled here before."""
    return any(CACHE.rglob("*.nbi")) if CACHE.is_dir() else False


CACHE = cache_folder()


@overload
def kernel(function: Callable[P, R], /, **options: Any) -> Callable[P, R]: ...
@overload
def kernel(**options: Any) -> Callable[[Callable[P, R]], Callable[P, R]]: ...
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


def inlined(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a kernel that other kernels call: it becomes part of each caller.

    A helper left out of line is compiled into its own object and into every caller's, each rounded as its surroundings
    allow, and whichever is loaded first answers for all: the last bit of a result would hang on what ran before.
    """
    return kernel(function, forceinline=True)


def _borrowed(typing: Any, value: Any) -> Any:
    """The same array, or named tuple with arrays, that nobody counts as used: a function's own arguments only.

    Every slice of an array is counted when it is made and when it is dropped, by locked additions for which two threads
    on the same nodes wait on one another: a fifth of a small spell's time on one thread, more on two. What a caller
    passes lives until the call returns, so there the counting is for nothing. What a function has made itself must
    never be borrowed: it would be let go of at its last counted use.
    """

    def lower(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        return _uncounted(context, builder, signature.args[0], args[0])

    return value(value), lower


def _uncounted(context: Any, builder: Any, kind: Any, value: Any) -> Any:
    """Lower one value: an array loses the note of who owns it, a tuple those of its members."""
    if isinstance(kind, types.Array):
        array = context.make_array(kind)(context, builder, value)
        array.meminfo = array.meminfo.type(None)
        return array._getvalue()
    if isinstance(kind, types.BaseTuple):
        members: Any = kind
        for place, member in enumerate(members):
            part = builder.extract_value(value, place)
            value = builder.insert_value(value, _uncounted(context, builder, member, part), place)
    return value


def _intrinsic(lowering: Any) -> Callable[[R], R]:
    """What a compiled function calls; for a reader of types it gives back what it is given."""
    return cast(Callable[[R], R], intrinsic(lowering))


borrowed = _intrinsic(_borrowed)
