"""What the README's commands print; ``cog`` puts it there (DEVELOPERS.md says how)."""

from __future__ import annotations

import contextlib
import io
import shlex
import shutil
import tempfile
from pathlib import Path

from wearsim.cli.main import run

ROOT = Path(__file__).resolve().parents[1]


def printed_by(command: str) -> str:
    """A block of one ``wearsim`` command, and a block of what it prints on stdout, run beside a copy of the examples.

    Raises
    ------
    RuntimeError
        Where it fails.
    """
    out, err = io.StringIO(), io.StringIO()
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        shutil.copytree(ROOT / "examples", "examples")
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = run(shlex.split(command))
    if code != 0:
        raise RuntimeError(f"{command} ended with {code}: {err.getvalue()}")
    return f"```sh\n.venv/bin/wearsim {command}\n```\n\n```text\n{out.getvalue().rstrip()}\n```"
