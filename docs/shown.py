"""What commands print and files hold, for the README and the pages; ``cog`` puts it there (DEVELOPERS.md says how)."""

from __future__ import annotations

import contextlib
import io
import shlex
import shutil
import tempfile
from collections.abc import Sequence
from pathlib import Path

from wearsim.cli.main import run

ROOT = Path(__file__).resolve().parents[1]


def printed_by(command: str, parts: Sequence[int] | None = None) -> str:
    """A block of one ``wearsim`` command, and a block of what it prints on stdout, run beside a copy of the examples.

    Parameters
    ----------
    parts : sequence of int, optional
        Which paragraphs of it, from 0, with dots for the others; by default all.

    Raises
    ------
    RuntimeError
        Where it fails.
    """
    code, out, err = _called(command)
    if code != 0:
        raise RuntimeError(f"{command} ended with {code}: {err}")
    return f"```sh\n.venv/bin/wearsim {command}\n```\n\n```text\n{_shortened(out.rstrip(), parts)}\n```"


def _shortened(text: str, parts: Sequence[int] | None) -> str:
    paragraphs = text.split("\n\n")
    if parts is None:
        return text
    kept = [paragraphs[part] if part in parts else "..." for part in range(len(paragraphs))]
    return "\n\n".join(one for one, before in zip(kept, ["", *kept], strict=False) if one != "..." or before != "...")


def refused(command: str) -> str:
    """A block of one ``wearsim`` command that is refused, and a block of the line that it prints on stderr.

    Raises
    ------
    RuntimeError
        Where it is not.
    """
    code, _, err = _called(command)
    if code != 2:
        raise RuntimeError(f"{command} ended with {code}")
    return f"```sh\nwearsim {command}\n```\n\n```text\n{err.rstrip()}\n```"


def file(name: str) -> str:
    """A file of the repository in a block of its own."""
    text = (ROOT / name).read_text(encoding="utf-8")
    return f"```{name.rpartition('.')[2]}\n{text.rstrip()}\n```"


def _called(command: str) -> tuple[int, str, str]:
    """Exit code, stdout and stderr of a command, run beside a copy of the examples."""
    out, err = io.StringIO(), io.StringIO()
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        shutil.copytree(ROOT / "examples", "examples")
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = run(shlex.split(command))
    return code, out.getvalue(), err.getvalue()
