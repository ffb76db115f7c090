"""How the documentation is built: ``python -m sphinx -W --keep-going -b html docs out``."""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

import wearsim  # noqa: E402

project = "wearsim"
author = "the authors of wearsim"
copyright = f"2026, {author}"
version = release = wearsim.__version__

extensions = [
    "myst_parser", "sphinx.ext.autodoc", "sphinx.ext.autosummary", "sphinx.ext.viewcode", "numpydoc",
    "sphinx_gallery.gen_gallery", "build_steps",
]  # fmt: skip
myst_enable_extensions = ["dollarmath", "deflist", "colon_fence"]
myst_heading_anchors = 3
templates_path = ["_templates"]
exclude_patterns = ["_build", "_static", "_templates", "generated/run"]
suppress_warnings = ["myst.header"]

autosummary_generate = True
autodoc_default_options = {"exclude-members": "model_config"}
autodoc_member_order = "bysource"
autodoc_typehints = "none"  # numpydoc's sections say them in words
numpydoc_show_class_members = False
numpydoc_xref_param_type = False
sphinx_gallery_conf = {
    "examples_dirs": "../examples",
    "gallery_dirs": "generated/gallery",
    "filename_pattern": r"\.py$",
    "ignore_pattern": r"make_readings\.py$",
    "image_scrapers": ("build_steps.example_figures",),
    "reset_modules": ("matplotlib", "build_steps.name_example"),
    "within_subsection_order": "FileNameSortKey",
    "run_stale_examples": True,  # an unchanged script answers otherwise when wearsim has changed
    "notebook_extensions": set(),
    "download_all_examples": False,
    "write_computation_times": False,
    "show_signature": False,
    "remove_config_comments": True,
}

toc_object_entries_show_parents = "hide"

html_theme = "pydata_sphinx_theme"
html_title = f"wearsim {release}"
html_math_renderer = "mathml"
html_show_sourcelink = False
html_static_path = ["_static"]
html_css_files = ["wearsim.css"]
html_sidebars = {page.stem: [] for page in HERE.glob("*.md") if page.stem != "python"}  # nothing is below them
html_theme_options = {
    "header_links_before_dropdown": 6,
    "secondary_sidebar_items": ["page-toc"],
    "show_prev_next": False,
}
