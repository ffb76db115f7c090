"""Everything that can be imported is documented as numpydoc has it; what people are offered, in full.

Offered is what ``import wearsim`` gives, methods included, and what the reference lists besides (``docs/python.md``). Of
the rest, what has no leading underscore needs a docstring that says what it is, and no section may contradict the code.
"""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
import warnings
from collections.abc import Iterator
from functools import cached_property
from pathlib import Path

import pytest

import wearsim
from wearsim.errors import WearsimError

validate = pytest.importorskip("numpydoc.validate").validate

# What numpydoc calls the faults that matter here. Left out: a blank line or a line break after the quotes, capital
# letters and full stops of one-word descriptions, a word more on a value whose name and type say it, "See Also",
# extended summaries and examples, which numpydoc would ask for everywhere.
CONTRADICTS = {
    "GL08",  # no docstring
    "SS01", "SS03",  # no summary; no full stop
    "PR02", "PR03",  # parameters unknown, in another order
    "RT02",  # a single return value with a name
    "YD01",  # a generator that does not say what it yields
}  # fmt: skip
LACKS = {"PR01", "PR04", "RT01"}  # parameters missing, without a type; no word on what comes back
REFERENCE = Path(__file__).parents[2] / "docs" / "python.md"
NAMES = [name for name in wearsim.__all__ if name != "__version__"]


def path_of(thing: object) -> str:
    """Dotted name under which numpydoc finds it."""
    return f"{thing.__module__}.{thing.__qualname__}"  # type: ignore[attr-defined]


def members(thing: object) -> Iterator[str]:
    """A class's own methods and properties, underscores left out."""
    for name, member in vars(thing).items() if inspect.isclass(thing) else ():
        inner = member.__func__ if isinstance(member, (classmethod, staticmethod)) else member
        if not name.startswith("_") and (inspect.isfunction(inner) or isinstance(inner, (property, cached_property))):
            yield f"{path_of(thing)}.{name}"


def offered() -> dict[str, object]:
    """Classes and functions of ``import wearsim`` and of the reference."""
    listed = re.findall(r"^   (wearsim\.[\w.]+)\.(\w+)$", REFERENCE.read_text(encoding="utf-8"), re.MULTILINE)
    things = [getattr(wearsim, name) for name in NAMES]
    things += [getattr(importlib.import_module(module), name) for module, name in listed]
    return {path_of(thing): thing for thing in things}


def importable() -> Iterator[object]:
    """Every class and function of the package without a leading underscore, where it is defined."""
    for found in pkgutil.walk_packages(wearsim.__path__, "wearsim."):
        if found.name.rpartition(".")[2].startswith("_"):
            continue
        module = importlib.import_module(found.name)
        for name, thing in vars(module).items():
            ours = getattr(thing, "__module__", None) == found.name and hasattr(thing, "__qualname__")
            if ours and not name.startswith("_"):
                yield thing


def faults_of(path: str, watched: set[str]) -> list[str]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # numpydoc parses source that is not ours
        found = validate(path)
    asks = (found["docstring"] or "").partition("\n")[0].endswith("?")  # as a command's summary may
    return [
        f"{path}: {code}: {text}" for code, text in found["errors"] if code in watched and not (asks and code == "SS03")
    ]


OFFERED = offered()
METHODS = [path for name in NAMES for path in members(getattr(wearsim, name))]


@pytest.mark.parametrize("path", OFFERED)
def test_what_is_offered_is_documented_in_full(path: str) -> None:
    thing = OFFERED[path]
    watched = CONTRADICTS | LACKS
    if inspect.isclass(thing) and ("Attributes\n" in (thing.__doc__ or "") or takes_what_its_base_does(thing)):
        watched = watched - {"PR01"}
    assert not faults_of(path, watched)


def takes_what_its_base_does(thing: type) -> bool:
    """Whether it is an error that is made as :class:`WearsimError` is."""
    return issubclass(thing, WearsimError) and "__init__" not in vars(thing)


@pytest.mark.parametrize("path", METHODS)
def test_what_it_can_do_is_documented_in_full(path: str) -> None:
    assert not faults_of(path, CONTRADICTS | LACKS)


def test_nothing_importable_is_without_a_word() -> None:
    paths = [path for thing in importable() for path in (path_of(thing), *members(thing))]
    assert len(paths) > 900  # it looks everywhere
    assert not [fault for path in paths for fault in faults_of(path, CONTRADICTS)]


def test_a_function_without_a_docstring_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    import wearsim.figure.zernike as module

    monkeypatch.setattr(module.zernike_astigmatism, "__doc__", None)
    assert faults_of("wearsim.figure.zernike.zernike_astigmatism", CONTRADICTS)


@pytest.mark.parametrize("name", [name for name in NAMES if inspect.isfunction(getattr(wearsim, name))])
def test_a_function_says_what_it_raises(name: str) -> None:
    thing = getattr(wearsim, name)
    raised = "raise " in inspect.getsource(thing)
    assert not raised or "Raises" in (thing.__doc__ or "")
