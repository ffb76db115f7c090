"""What commands print and files hold, for the README and the pages; ``cog`` puts it there (DEVELOPERS.md says how)."""

from __future__ import annotations

import contextlib
import io
import shlex
import shutil
import tempfile
import weakref
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


class Desk:
    """Where the commands of a page follow each other, beside a copy of the examples; each finds what others left."""

    def __init__(self) -> None:
        self._place = Path(tempfile.mkdtemp())
        weakref.finalize(self, shutil.rmtree, self._place, ignore_errors=True)
        shutil.copytree(ROOT / "examples", self._place / "examples")

    def shows(self, command: str, stream: str = "answer", lines: int | None = None) -> str:
        """A block of one command, ``wearsim``, ``cat`` or ``cp``, and a block of what it prints, if it prints anything.

        Parameters
        ----------
        stream : {"answer", "messages", "both"}
            What is shown of ``wearsim``: what it prints on stdout, on stderr, or one after the other.
        lines : int, optional
            So many of the first, and dots for the others; by default all.

        Raises
        ------
        RuntimeError
            Where it fails.
        """
        called, *arguments = shlex.split(command)
        place = self._place
        if called == "cp":
            *files, folder = (place / name for name in arguments)
            for file in files:
                shutil.copy(file, folder)
            text = ""
        elif called == "cat":
            text = "\n".join((place / name).read_text(encoding="utf-8") for name in arguments)
        else:
            code, out, err = _run(arguments, place)
            if code != 0:
                raise RuntimeError(f"{command} ended with {code}: {err}")
            text = {"answer": out, "messages": err, "both": f"{out}\n{err}"}[stream]
        shown = text.rstrip().split("\n")
        if lines is not None and len(shown) > lines:
            shown = [*shown[:lines], "..."]
        kind = "toml" if called == "cat" and shown[-1] != "..." else "text"
        block = "\n".join([f"```{kind}", *shown, "```"])
        return f"```sh\n{command}\n```" + (f"\n\n{block}" if text else "")


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
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(ROOT / "examples", Path(folder, "examples"))
        return _run(shlex.split(command), Path(folder))


def _run(arguments: Sequence[str], folder: Path) -> tuple[int, str, str]:
    """Exit code, stdout and stderr of ``wearsim`` with these arguments in a folder, nobody at its terminal."""
    out, err = io.StringIO(), io.StringIO()
    nobody = contextlib.redirect_stdout(out), contextlib.redirect_stderr(err)
    with contextlib.chdir(folder), nobody[0], nobody[1]:
        code = run(arguments)
    return code, out.getvalue(), err.getvalue()
