"""How the documentation is built: ``python -m sphinx -W --keep-going -b html docs out``."""

from __future__ import annotations

import os
import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent)]
os.environ.setdefault("MPLBACKEND", "Agg")

import wearsim  # noqa: E402

project = "wearsim"
author = "the authors of wearsim"
copyright = f"2026, {author}"
version = release = wearsim.__version__

extensions = [
    "myst_parser", "sphinx.ext.autodoc", "sphinx.ext.mathjax", "sphinx.ext.viewcode", "numpydoc", "transcript",
]  # fmt: skip
myst_enable_extensions = ["dollarmath", "deflist", "colon_fence"]
myst_heading_anchors = 3
exclude_patterns = ["_build", "generated/*.md"]
exclude_patterns += [path.name for path in HERE.glob("*.md") if not path.read_text(encoding="utf-8").strip()]
autodoc_member_order = "bysource"
autodoc_typehints = "none"  # numpydoc's sections say them in words
numpydoc_show_class_members = False
numpydoc_xref_param_type = False
html_theme = "alabaster"
html_title = f"wearsim {release}"
html_theme_options = {
    "description": "What a stroke does to a mirror, and what to do next",
    "page_width": "1080px",
    "sidebar_width": "230px",
    "fixed_sidebar": True,
}
html_show_sourcelink = False
suppress_warnings = ["myst.header"]


def setup(app):  # type: ignore[no-untyped-def]
    """Tables and plots of the pages are made by the build."""
    from make_generated import make_all

    app.connect("builder-inited", lambda app: make_all(HERE / "generated"))
