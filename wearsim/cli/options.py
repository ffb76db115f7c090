"""The options that all commands share, and how they hand over an answer.

A command is a plain function with a last parameter ``manners``; :func:`add` gives it the shared options::

    def command(bench: BenchPath, manners: Manners, output: ... = None) -> None:
        manners.reserve({output: (".h5",)}, inputs=[bench])    # before anything is computed
        ...                                                    # all input is read
        if dry_run:
            manners.list_files([output])
            return
        ...
        manners.deliver(outcome.to_json, table=..., figure=..., write=...)
        manners.voice.next("compare", bench, "--programme", programme)
"""

from __future__ import annotations

import inspect
import json
import os
import sys
from collections.abc import Callable, Iterable, Mapping
from contextlib import ExitStack
from contextvars import ContextVar
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, get_type_hints

import typer
from typer.core import TyperCommand, TyperGroup

from wearsim.cli.inputs import MISSING_FOLDER
from wearsim.cli.messages import Voice
from wearsim.errors import InputError
from wearsim.parallel import set_worker_count
from wearsim.show.text import paragraph

if TYPE_CHECKING:
    from matplotlib.figure import Figure


PLOTS = (".png", ".svg", ".pdf")
JsonOutput = Annotated[
    Path | None, typer.Option("-o", "--output", metavar="FILE", help="The object of --json, to a file: .json.")
]
DryRun = Annotated[
    bool, typer.Option("--dry-run", help="Check all input, list the files to be written; compute nothing.")
]

Workers = Annotated[
    int | None,
    typer.Option(
        "--workers", min=1, max=1024, show_default="all cores", callback=set_worker_count,
        help="Threads at work at once; the answer does not depend on it.",
    ),
]  # fmt: skip
"""Of a command that computes; it needs do no more than have the option."""


@dataclass(frozen=True)
class Manners:
    """The shared options of a command."""

    json: Annotated[bool, typer.Option("--json", help="One JSON object on stdout, in SI units.")] = False
    plot: Annotated[Path | None, typer.Option("--plot", metavar="FILE", help="Draw it: .png, .svg or .pdf.")] = None
    seed: Annotated[int, typer.Option("--seed", min=0, help="Of everything that is drawn by chance.")] = 0
    force: Annotated[bool, typer.Option("--force", help="Replace files that are there.")] = False
    quiet: Annotated[bool, typer.Option("-q", "--quiet", help="The answer and failures, no more.")] = False
    verbose: Annotated[bool, typer.Option("-v", "--verbose", help="Say where each default is from.")] = False
    debug: Annotated[bool, typer.Option("--debug", help="Keep the traceback of a failure.")] = False

    @property
    def voice(self) -> Voice:
        """For everything that is not the answer."""
        return Voice(self.quiet, self.verbose)

    def reserve(self, outputs: Mapping[Path | None, tuple[str, ...]], inputs: Iterable[Path]) -> None:
        """Check, before anything is computed, that every file can be written; the plot is added here.

        Parameters
        ----------
        outputs : mapping of Path or None to tuple of str
            Files to write, with the endings that each may have.
        inputs : iterable of Path
            Files that must not be replaced by an answer.

        Raises
        ------
        InputError
        """
        taken = {path.resolve() for path in inputs}
        for path, endings in [*outputs.items(), (self.plot, PLOTS)]:
            if path is not None:
                _check_destination(path, endings, self.force)
                if path.resolve() in taken:
                    raise InputError("is read or written by this command already", file=path)
                taken.add(path.resolve())

    def list_files(self, files: Iterable[Path | None], text: str = "", **more: Any) -> None:
        """End a dry run: say which files the command would write, and name the same command in earnest as the next.

        Parameters
        ----------
        files : iterable of Path or None
            To be written besides the plot; None for what was not asked for.
        text : str
            Lines of the command's own, put first.
        **more
            The same for ``--json``.
        """
        named = [str(path) for path in (*files, self.plot) if path is not None]
        if self.json:
            print(json.dumps({"dry_run": True, "would_write": named, **more}, allow_nan=False))
        else:
            listed = paragraph(", ".join(named) or "nothing", "Would write    ", " " * 15)
            print("\n".join([*text.splitlines(), listed, paragraph("All input can be used. Nothing was written.")]))
        self.voice.next(*(word for word in SAID.get() if word != "--dry-run"))

    def write_json(self, payload: dict[str, Any], path: Path | None) -> None:
        """Write the object of ``--json`` to a file, where one is asked for."""
        if path is None:
            return
        from wearsim.wear.hdf5 import whole_file

        with whole_file(path, force=self.force) as part:
            part.write_text(json.dumps(payload, allow_nan=False) + "\n", encoding="utf-8")

    def draw(self, figure: Figure, path: Path) -> None:
        """Write one more plot, whole or not at all."""
        from wearsim.show.style import save
        from wearsim.wear.hdf5 import whole_file

        with whole_file(path, force=self.force) as part:
            save(figure, part, path.suffix)

    def deliver(
        self, payload: Callable[[], dict[str, Any]], *, table: Callable[[], str],
        figure: Callable[[], Figure], write: Callable[[], None] | None = None,
    ) -> None:  # fmt: skip
        """Write the files, then print the answer.

        Parameters
        ----------
        payload, table, figure : callable
            The answer as one JSON object, as text, as a plot; each called where it is asked for.
        write : callable, optional
            Writes the command's own file, whole or not at all.
        """
        with ExitStack() as files:
            if self.plot is not None:
                from wearsim.show.style import save
                from wearsim.wear.hdf5 import whole_file

                part = files.enter_context(whole_file(self.plot, force=self.force))
                save(figure(), part, self.plot.suffix)
            if write is not None:
                write()
        print(json.dumps(payload(), allow_nan=False) if self.json else table())
        sys.stdout.flush()


def _check_destination(path: Path, endings: tuple[str, ...], force: bool) -> None:
    if path.suffix.lower() not in endings:
        raise InputError("no such kind of file", file=path, expected="a name ending in " + ", ".join(endings))
    folder = path.parent
    if not folder.is_dir():
        raise InputError("its folder is missing", file=path, expected=MISSING_FOLDER)
    if path.is_dir() or not os.access(folder, os.W_OK):
        raise InputError("cannot be written", file=path)
    if path.exists() and not force:
        raise InputError("exists already", file=path, expected="another name, or --force")


SAID: ContextVar[tuple[str, ...]] = ContextVar("SAID", default=())
"""The command that is being done and all that was said with it, as it was typed."""


class Example:
    """Help that begins with an example."""

    @staticmethod
    def command(example: str) -> type[TyperCommand]:
        """A class of command whose help begins with ``example``."""

        class Command(TyperCommand):
            def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
                SAID.set((str(self.name), *args))
                return super().parse_args(ctx, args)

            def format_usage(self, ctx: Any, formatter: Any) -> None:
                formatter.write(f"Example:\n  {example}\n\n")
                super().format_usage(ctx, formatter)

        return Command

    @staticmethod
    def group(example: str) -> type[TyperGroup]:
        """The same of a group."""

        class Group(TyperGroup):
            def format_epilog(self, ctx: Any, formatter: Any) -> None:
                formatter.write_paragraph()
                with formatter.indentation():
                    for line in (self.epilog or "").splitlines():  # no command is broken across lines
                        formatter.write_text(line)

            def format_usage(self, ctx: Any, formatter: Any) -> None:
                formatter.write(f"Example:\n  {example}\n\n")
                super().format_usage(ctx, formatter)

        return Group


def add(app: typer.Typer, function: Callable[..., None], name: str, example: str) -> None:
    """Add a command with the shared options.

    Parameters
    ----------
    app : typer.Typer
    function : callable
        Takes ``manners``, and its own annotated parameters.
    name, example : str
    """
    shared = get_type_hints(Manners, include_extras=True)
    own = get_type_hints(function, include_extras=True)
    hints = {key: hint for key, hint in own.items() if key not in ("manners", "return")}

    def call(**given: Any) -> None:
        manners = Manners(**{field.name: given.pop(field.name) for field in fields(Manners)})
        function(**given, manners=manners)

    kind = inspect.Parameter.KEYWORD_ONLY
    parameters = [
        *(
            parameter.replace(annotation=hints[parameter.name], kind=kind)
            for parameter in inspect.signature(function).parameters.values()
            if parameter.name != "manners"
        ),
        *(
            inspect.Parameter(field.name, kind, default=field.default, annotation=shared[field.name])
            for field in fields(Manners)
        ),
    ]
    call.__doc__, call.__annotations__ = function.__doc__, {**hints, **shared}
    setattr(call, "__signature__", inspect.Signature(parameters))  # noqa: B010  mypy knows no such attribute
    app.command(name, cls=Example.command(example))(call)
