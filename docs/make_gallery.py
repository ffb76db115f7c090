"""The gallery: every example, its question, its answer and its plot."""

from __future__ import annotations

from typing import Any

from run_blocks import ROOT, answer_of, load_example

EXAMPLES = ROOT / "examples"


def gallery() -> tuple[str, dict[str, Any]]:
    """Markdown of the gallery, and the figures by the example's name."""
    parts, figures = [], {}
    for path in sorted(EXAMPLES.glob("*.py")):
        module = load_example(path)
        question, _, about = (module.__doc__ or "").strip().partition("\n")
        answer, figures[path.stem] = answer_of(path.stem)
        parts += [
            f"## {question}\n", about.strip(), "", f"```text\n$ python examples/{path.name}\n{answer}\n```", "",
            f"![{question}](generated/example-{path.stem}.svg)\n",
            f"The script: `examples/{path.name}`.\n",
        ]  # fmt: skip
    return "\n".join(parts), figures
