"""What the build does beside its extensions: a folder for each page's commands, examples' figures, formulae offline."""

from __future__ import annotations

import builtins
import os
import re
import shutil
import sys
from pathlib import Path
from typing import Any

from docutils.nodes import Element, SkipNode
from docutils.utils.math import MathError
from docutils.utils.math.latex2mathml import tex2mathml
from matplotlib.figure import Figure
from sphinx.application import Sphinx
from sphinx.util import logging
from sphinx_gallery.scrapers import figure_rst
from sphinxcontrib.programoutput import ProgramOutputDirective, run_programs

from wearsim.show.style import save

ROOT = Path(__file__).resolve().parents[1]
LOG = logging.getLogger(__name__)
RUN = ROOT / "docs" / "generated" / "run"


class PageCommand(ProgramOutputDirective):
    """``command-output``, run in the page's own folder unless it says another."""

    def run(self) -> list[Any]:
        """Run it."""
        self.options.setdefault("cwd", f"/generated/run/{self.state.document.settings.env.docname}")
        return super().run()  # type: ignore[no-any-return]


def lay_out(app: Sphinx, page: str, source: list[str]) -> None:
    """Before a page is read: a new folder for it, with a copy of the examples; nothing that was answered before counts."""
    if "{command-output}" in source[0]:
        shutil.rmtree(RUN / page, ignore_errors=True)
        unwanted = shutil.ignore_patterns("__pycache__")
        shutil.copytree(ROOT / "examples", RUN / page / "examples", ignore=unwanted)
        app.env.programoutput_cache.clear()  # type: ignore[attr-defined]


def command_wearsim() -> None:
    """The command ``wearsim`` of this source, installed or not, with nobody at its terminal."""
    script = RUN.parent / "bin" / "wearsim"
    script.parent.mkdir(parents=True, exist_ok=True)
    script.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m wearsim "$@" </dev/null\n', encoding="utf-8")
    script.chmod(0o755)
    path = [str(script.parent), str(Path(sys.executable).parent), os.environ["PATH"]]
    os.environ.update(PATH=os.pathsep.join(path), PYTHONPATH=str(ROOT), COLUMNS="80", MPLBACKEND="Agg")


def example_figures(block: Any, names: dict[str, Any], gallery: dict[str, Any]) -> str:
    """Save the figures that an example leaves under a name, for the gallery."""
    globals_ = names["example_globals"]
    paths = []
    for name in [name for name, value in globals_.items() if isinstance(value, Figure)]:
        paths.append(Path(next(names["image_path_iterator"])).with_suffix(".svg"))
        save(globals_.pop(name), paths[-1], ".svg")
    return figure_rst(paths, gallery["src_dir"])  # type: ignore[no-any-return]


def name_example(gallery: dict[str, Any], path: str | None) -> None:
    """Give the example that comes next its ``__file__``, which sphinx-gallery leaves out: it runs in its own folder."""
    vars(builtins)["__file__"] = path


def mathml(node: Element, as_block: bool) -> str:
    """A formula as browsers draw it themselves, without a script from anywhere."""
    if re.search(r"frac\d", node.astext()):  # 12 is read as one number, over nothing
        LOG.warning("%s: braces are needed, \\frac{1}{2}", node.astext(), location=node)
    try:
        return tex2mathml(node.astext(), as_block=as_block)
    except MathError as error:
        LOG.warning("%s: %s", node.astext(), error, location=node)
        return ""


def inline_formula(writer: Any, node: Element) -> None:
    """A formula in a line."""
    writer.body.append(mathml(node, as_block=False))
    raise SkipNode


def formula(writer: Any, node: Element) -> None:
    """A formula of its own."""
    writer.body.append(f'<div class="formula">{mathml(node, as_block=True)}</div>')
    raise SkipNode


def setup(app: Sphinx) -> dict[str, Any]:
    """Take part in the build, which makes ``docs/generated/`` from nothing: nothing is left of what was renamed."""
    shutil.rmtree(RUN.parent, ignore_errors=True)
    command_wearsim()
    app.setup_extension("sphinxcontrib.programoutput")
    app.add_directive("command-output", PageCommand, override=True)
    app.connect("source-read", lay_out)
    app.connect("doctree-read", run_programs, priority=100)  # before the page's pictures are looked for
    app.add_html_math_renderer("mathml", (inline_formula, None), (formula, None))
    return {"parallel_read_safe": True, "parallel_write_safe": True}
