"""The one wrapper that fixes how kernels are compiled.

``fastmath`` allows sums to be reordered and products to be contracted, nothing that breaks NaN or infinity.
The cache folder carries a digest of every kernel's source: a cached function does not notice when a jitted
helper in another file changes, so a change anywhere makes a new folder. Its name says where the source lies,
too: what is compiled for one copy of the package is not found by another. Each file in it carries a digest of its
content: a damaged one is ignored and made again, and where none can be written all is compiled in memory.
"""

# mypy: disable-error-code="no-untyped-call"
from __future__ import annotations

import hashlib
import os
import pickle
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, ParamSpec, TypeVar, cast, overload

import numba
from numba.core import types
from numba.core.caching import IndexDataCacheFile
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
    try:
        return any(CACHE.rglob("*.nbi")) if CACHE.is_dir() else False
    except OSError:
        return False


def why_not_kept() -> str | None:
    """Why compiled kernels cannot be kept, in the system's words; None where they can."""
    try:
        CACHE.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=CACHE) as stream:
            stream.write(b"\0" * 4096)
    except OSError as error:
        return f"{CACHE}: {error.strerror or error}"
    return None


class _CheckedFiles(IndexDataCacheFile):
    """Numba's files of one kernel, with a digest of what each holds."""

    def _load_index(self) -> Any:
        try:
            return super()._load_index()
        except Exception:  # whatever a damaged pickle raises
            return {}

    def _load_data(self, name: str) -> Any:
        content = Path(self._data_path(name)).read_bytes()
        if hashlib.sha256(content[32:]).digest() != content[:32]:
            raise OSError("damaged")  # numba takes it for a file that is gone
        return pickle.loads(content[32:])

    def _save_data(self, name: str, data: Any) -> None:
        content = self._dump(data)
        with self._open_for_write(self._data_path(name)) as stream:
            stream.write(hashlib.sha256(content).digest() + content)


def _kept_well(dispatcher: Any) -> Any:
    """A compiled function whose files are checked, and that does without where they cannot be written."""
    cache = getattr(dispatcher, "_cache", None)
    if cache is None:  # NUMBA_DISABLE_JIT: a plain function
        return dispatcher
    locator = cache._impl.locator
    cache._cache_file = _CheckedFiles(locator.get_cache_path(), cache._impl.filename_base, locator.get_source_stamp())
    load, save = cache.load_overload, cache.save_overload

    def load_or_compile(signature: Any, context: Any) -> Any:
        try:
            return load(signature, context)
        except OSError:
            return None

    def save_or_do_without(signature: Any, compiled: Any) -> None:
        with suppress(OSError):
            save(signature, compiled)

    cache.load_overload, cache.save_overload = load_or_compile, save_or_do_without
    return dispatcher


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
        return _kept_well(numba.njit(cache=True, **settings)(function))
    except (RuntimeError, OSError):  # no writable place for a cache: compile in memory
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
