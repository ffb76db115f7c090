"""Public names are documented as numpydoc has it: summary, parameters, returns, errors."""

from __future__ import annotations

import inspect
import warnings

import pytest

import wearsim

validate = pytest.importorskip("numpydoc.validate").validate

# What numpydoc calls the faults that matter here. Left out: a blank line or a line break after the quotes, capital
# letters and full stops of one-word descriptions, a word more on a return value whose type says it, "See Also",
# extended summaries and examples, which numpydoc would ask for everywhere.
WATCHED = {
    "GL08",  # no docstring
    "SS01", "SS03",  # no summary; no full stop
    "PR01", "PR02", "PR03", "PR04",  # parameters missing, unknown, in another order, without a type
    "RT02",  # a single return value with a name
    "YD01",
}  # fmt: skip
NAMES = [name for name in wearsim.__all__ if name != "__version__"]


@pytest.mark.parametrize("name", NAMES)
def test_it_is_documented(name: str) -> None:
    thing = getattr(wearsim, name)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # numpydoc parses source that is not ours
        found = validate(f"{thing.__module__}.{thing.__qualname__}")
    faults = [f"{code}: {text}" for code, text in found["errors"] if code in WATCHED]
    if issubclass_of_piece(thing):  # pydantic's own signature: the keys stand under Attributes
        faults = [fault for fault in faults if not fault.startswith("PR01")]
    assert not faults, "\n".join(faults)


def issubclass_of_piece(thing: object) -> bool:
    from wearsim.bench.piece import Piece

    return inspect.isclass(thing) and issubclass(thing, Piece)


@pytest.mark.parametrize("name", [name for name in NAMES if inspect.isfunction(getattr(wearsim, name))])
def test_a_function_says_what_it_raises(name: str) -> None:
    thing = getattr(wearsim, name)
    raised = "raise " in inspect.getsource(thing)
    assert not raised or "Raises" in (thing.__doc__ or "")
