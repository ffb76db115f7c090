"""What a dry run says."""

from __future__ import annotations

from collections.abc import Sequence

from wearsim.show.study import duration
from wearsim.show.text import paragraph
from wearsim.wear.ahead import Ahead


def ahead_text(ahead: Ahead, files: Sequence[str]) -> str:
    """What would be run, how long about, and what would be written.

    Parameters
    ----------
    ahead : Ahead
    files : sequence of str
        Of the command, in the order in which they are asked for.

    Returns
    -------
    str
        Lines of 80 columns at most.
    """
    time = f"about {duration(ahead.most)}" if ahead.most >= 1.0 else "less than a second"
    if ahead.most >= 1.0 and duration(ahead.least) != duration(ahead.most):
        time = f"about {duration(ahead.least)} to {duration(ahead.most)}"
    timed = f"(from {ahead.timed}, {ahead.timed_seconds:.2g} s just now)"
    rows = [
        ("Would be run", ahead.work),
        ("Expected time", f"{time} {timed}"),
        ("Would write", ", ".join(files) or "nothing"),
    ]
    lines = [paragraph(text, f"{head:<15}", " " * 15) for head, text in rows]
    return "\n".join([*lines, "The input is sound. Nothing was written."])
