"""The directive ``transcript``: commands, run while the documentation is built, with what they print beneath.

All transcripts of a page run in one folder, in order. ``:said:`` shows what goes to stderr too, ``:head: N`` the
first lines of the answer alone. A command that fails where ``:fails:`` does not say so (or does not where it says
so) is a warning, and warnings are errors.
"""

from __future__ import annotations

import contextlib
import shutil
import tempfile
from pathlib import Path
from typing import Any, ClassVar

from docutils import nodes
from docutils.parsers.rst import directives
from run_blocks import commands_in, lay_out, run_line
from sphinx.application import Sphinx
from sphinx.util import logging
from sphinx.util.docutils import SphinxDirective

LOG = logging.getLogger(__name__)
_folders: dict[str, Path] = {}


class Transcript(SphinxDirective):
    """See the module."""

    has_content = True
    option_spec: ClassVar[dict[str, Any]] = {
        "said": directives.flag, "fails": directives.flag, "head": directives.positive_int,
    }  # fmt: skip

    def run(self) -> list[nodes.Node]:
        text = "\n\n".join(self._shown(line) for line in commands_in("\n".join(self.content)))
        block = nodes.literal_block(text, text, language="text")
        self.set_source_info(block)
        return [block]

    def _shown(self, line: str) -> str:
        with contextlib.chdir(folder_of(self.env.docname)):
            done = run_line(line)
        fails = "fails" in self.options
        if (done.code != 0) != fails:
            LOG.warning("%s ended with %d: %s", line, done.code, done.err, location=self.get_location())
        said = done.err if fails or "said" in self.options else ""
        answer = done.out.rstrip().splitlines()
        most = self.options.get("head", len(answer))
        more = ["..."] if len(answer) > most else []
        return "\n".join([f"$ {line}", *said.rstrip().splitlines(), *answer[:most], *more])


def folder_of(page: str) -> Path:
    """The folder in which a page's transcripts run, with a copy of the examples."""
    if page not in _folders:
        _folders[page] = Path(tempfile.mkdtemp(prefix="wearsim-docs-"))
        lay_out(_folders[page])
    return _folders[page]


def _clear(app: Sphinx, error: Exception | None) -> None:
    for folder in _folders.values():
        shutil.rmtree(folder, ignore_errors=True)
    _folders.clear()


def setup(app: Sphinx) -> dict[str, Any]:
    """Register the directive."""
    app.add_directive("transcript", Transcript)
    app.connect("build-finished", _clear)
    return {"version": "1", "parallel_read_safe": False, "parallel_write_safe": True}
