"""The options that commands share, and how they hand over an answer.

A command is a plain function with a parameter ``options``; :func:`add` gives it the shared ones::

    def command(bench: BenchPath, options: Options, output: ... = None) -> None:
        options.reserve({output: (".h5",)}, inputs=[bench])    # before anything is computed
        ...                                                    # all input is read
        if dry_run:
            return options.list_files([output])
        ...
        options.deliver(outcome.to_json, table=..., figure=..., files={output: ...})
        options.messages.next("compare", bench, "--programme", programme)
"""

from __future__ import annotations

import inspect
import json
import os
from collections.abc import Callable, Iterable, Mapping
from contextlib import ExitStack
from contextvars import ContextVar
from dataclasses import dataclass, fields
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, get_type_hints

import typer
from typer.core import TyperCommand, TyperGroup

from wearsim.cli import completion
from wearsim.cli.terminal import Messages, put
from wearsim.errors import CouldNotError, InputError
from wearsim.show.text import paragraph

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PLOTS = (".png", ".svg", ".pdf")


class EngineChoice(StrEnum):
    """How it is worked out."""

    radial = "radial"
    planar = "planar"


class SurfaceChoice(StrEnum):
    """In which heights of the surface are read."""

    nm = "nm"
    waves = "waves"
    millionths = "millionths"


SURFACE_CHOICE: ContextVar[SurfaceChoice | None] = ContextVar("SURFACE_CHOICE", default=None)
"""The option as given to the command; None where the bench decides."""


def _set_workers(count: int | None) -> int | None:
    from wearsim.parallel import set_worker_count

    set_worker_count(count)
    return count


BenchPath = Annotated[
    Path,
    typer.Argument(
        metavar="BENCH", help="bench.toml, a mirror's folder, or a ready-made bench.", show_default=False,
        autocompletion=completion.benches,
    ),
]  # fmt: skip
FolderPath = Annotated[Path, typer.Argument(metavar="FOLDER", help="The mirror's folder.", show_default=False)]
ProgrammePath = Annotated[
    Path, typer.Option("--programme", "-p", metavar="FILE", help="The programme: programme.toml.", show_default=False)
]
Waited = Annotated[
    str | None,
    typer.Option(
        "--waited", metavar="TIME", help='How long the glass cooled before it was tested: "2 h" or overnight.'
    ),
]
Shadows = Annotated[
    Path | None, typer.Option("--shadows", metavar="FILE", help="Plot the shadows in the tester: .png, .svg or .pdf.")
]
JsonOutput = Annotated[
    Path | None, typer.Option("-o", "--output", metavar="FILE", help="Write the --json output to this file (.json).")
]
CARDS = (".pdf", ".html")
Card = Annotated[Path | None, typer.Option("--card", metavar="FILE", help="Bench card to print: .pdf or .html.")]
DryRun = Annotated[
    bool, typer.Option("--dry-run", help="Check all input and list the files to be written; compute nothing.")
]
_DRAWS = "Random draws of the uncertain constants for the band; 0 for no band."
Aim = Annotated[float, typer.Option("--aim", min=0.01, max=0.999, help="Strehl ratio at which to stop.")]
BandDraws = Annotated[int, typer.Option("--draws", min=0, max=10_000, help=_DRAWS)]
EngineDraws = Annotated[
    int | None, typer.Option("--draws", min=0, max=10_000, show_default="32; planar engine: 0", help=_DRAWS)
]
EngineOption = Annotated[
    EngineChoice,
    typer.Option(
        "--engine", help="radial: averages over all directions. planar: stroke by stroke, over the whole surface."
    ),
]
Cells = Annotated[
    int | None,
    typer.Option(
        "--cells", min=16, max=1024, show_default="128",
        help="Planar engine: cells across the mirror. Twice as many take four times as long.",
    ),
]  # fmt: skip
Workers = Annotated[
    int | None,
    typer.Option(
        "--workers", min=1, max=1024, show_default="all cores", callback=_set_workers,
        help="Threads to use (for a study, processes); the result does not depend on it.",
    ),
]  # fmt: skip
"""Option of a command that computes; the command need do no more than have it."""


@dataclass(frozen=True)
class Options:
    """The options that every command has."""

    json: Annotated[bool, typer.Option("--json", help="One JSON object on stdout, in SI units.")] = False
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE", help="Plot the result: .png, .svg or .pdf.")
    ] = None
    seed: Annotated[int, typer.Option("--seed", min=0, max=2**63 - 1, help="Seed for all random draws.")] = 0
    surface_unit: Annotated[
        SurfaceChoice | None,
        typer.Option(
            "--surface-unit", help="Unit of heights: nm, waves of the bench's light, or millionths of an inch."
        ),
    ] = None
    force: Annotated[bool, typer.Option("--force", help="Replace existing files.")] = False
    quiet: Annotated[bool, typer.Option("-q", "--quiet", help="Print only the result and any errors.")] = False
    verbose: Annotated[
        bool,
        typer.Option(
            "-v", "--verbose", help="More detail: sources of defaults, the edge after each spell, effects not modelled."
        ),
    ] = False
    debug: Annotated[bool, typer.Option("--debug", help="Print the traceback of a failure.")] = False

    @property
    def messages(self) -> Messages:
        """For everything that is not the result."""
        return Messages(self.quiet, self.verbose)

    def reserve(self, outputs: Mapping[Path | None, tuple[str, ...]], inputs: Iterable[Path | None]) -> None:
        """Check, before anything is computed, that every file can be written; the plot is added here.

        Parameters
        ----------
        outputs : mapping of Path or None to tuple of str
            Files to write, with the endings that each may have.
        inputs : iterable of Path or None
            Files that must not be replaced by an answer.

        Raises
        ------
        InputError
        """
        taken, existing = {os.path.realpath(path) for path in inputs if path is not None}, []
        for path, endings in [*outputs.items(), (self.plot, PLOTS)]:
            if path is not None:
                _check_destination(path, endings)
                if os.path.realpath(path) in taken:
                    raise InputError("this command already reads or writes this file", file=path)
                taken.add(os.path.realpath(path))
                existing += [str(path)] if path.exists() and not self.force else []
        if existing:
            several = len(existing) > 1
            message, expected = ("already exist", "other names") if several else ("already exists", "another name")
            raise InputError(message, file=", ".join(existing), expected=f"{expected}, or --force")

    def list_files(self, files: Iterable[Path | None], text: str = "", **more: Any) -> None:
        """End a dry run: say which files the command would write, and name the same command in earnest as the next.

        Parameters
        ----------
        files : iterable of Path or None
            To be written in addition to the plot; None for those not asked for.
        text : str
            Lines of the command's own, put first.
        **more
            The same for ``--json``.
        """
        named = [str(path) for path in (*files, self.plot) if path is not None]
        if self.json:
            put(json.dumps({"dry_run": True, "would_write": named, **more}, allow_nan=False))
        else:
            listed = paragraph(", ".join(named) or "nothing", "Would write    ", " " * 15)
            put("\n".join([*text.splitlines(), listed, paragraph("All input is valid. Nothing was written.")]))
        self.messages.next(*(word for word in COMMAND_LINE.get() if word != "--dry-run"))

    def deliver(
        self, payload: Callable[[], dict[str, Any]], *, table: Callable[[], str], figure: Callable[[], Figure],
        figures: Mapping[Path | None, Callable[[], Figure]] | None = None,
        files: Mapping[Path | None, Callable[[Path], object]] | None = None, json_file: Path | None = None,
        write: Callable[[], None] = lambda: None, warnings: Iterable[str] = (), done: str = "",
    ) -> None:  # fmt: skip
        """Write the files, all or none, then print the answer.

        Parameters
        ----------
        payload, table, figure : callable
            The answer as one JSON object, as text, as a plot; each called where it is asked for.
        figures : mapping of Path or None to callable, optional
            More plots; None for what was not asked for.
        files : mapping of Path or None to callable, optional
            The command's own files, and what writes each to a path.
        json_file : Path, optional
            Where the JSON object goes as well.
        write : callable, optional
            Writes what is whole or not at all by itself.
        warnings : iterable of str, optional
            That the text holds already; said beside the JSON object.
        done : str
            What has been done for good: then the command has succeeded even if stdout does not take its answer.
        """
        for warning in warnings if self.json else ():
            self.messages.warn(warning)
        with ExitStack() as stack:

            def part(path: Path) -> Path:
                from wearsim.bench.whole_file import whole_file

                return stack.enter_context(whole_file(path, force=self.force))

            for path, draw in {self.plot: figure, **(figures or {})}.items():
                if path is not None:
                    from wearsim.show.style import save

                    save(draw(), part(path), path.suffix)
            for path, content in (files or {}).items():
                if path is not None:
                    content(part(path))
            if json_file is not None:
                part(json_file).write_text(json.dumps(payload(), allow_nan=False) + "\n", encoding="utf-8")
            write()
        try:
            put(json.dumps(payload(), allow_nan=False) if self.json else table())
        except CouldNotError as error:
            if not done:
                raise
            self.messages.warn(f"{error}; {done}")


def check_parent(path: Path) -> None:
    """Refuse something to be written into a folder that is not there."""
    if not is_folder(path.absolute().parent):
        raise InputError("the folder does not exist", file=path, expected="a path in an existing folder")


def is_folder(path: Path) -> bool:
    """Whether a folder is there; none is where the name is impossible."""
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False


def _check_destination(path: Path, endings: tuple[str, ...]) -> None:
    if path.suffix.lower() not in endings:
        raise InputError("unsupported file type", file=path, expected="a name ending in " + ", ".join(endings))
    check_parent(path)
    try:
        os.lstat(path)
    except FileNotFoundError:
        pass
    except (OSError, ValueError) as error:  # such as a name that is too long
        raise InputError(f"cannot be written ({getattr(error, 'strerror', None) or error})", file=path) from error
    if path.is_dir() or not os.access(path.parent, os.W_OK):
        raise InputError("cannot be written", file=path)


COMMAND_LINE: ContextVar[tuple[str, ...]] = ContextVar("COMMAND_LINE", default=())
"""The command that is being done and all that was given with it, as it was typed."""


def command_class(example: str) -> type[TyperCommand]:
    """A class of command whose help begins with ``example``."""

    class Command(TyperCommand):
        def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
            COMMAND_LINE.set((str(self.name), *args))
            return super().parse_args(ctx, args)

        def format_usage(self, ctx: Any, formatter: Any) -> None:
            formatter.write(f"Example:\n  {example}\n\n")
            super().format_usage(ctx, formatter)

    return Command


def group_class(example: str) -> type[TyperGroup]:
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
    """Add a command that takes ``options`` and its own annotated parameters, with an example for its help."""
    shared = get_type_hints(Options, include_extras=True)
    own = get_type_hints(function, include_extras=True)
    hints = {key: hint for key, hint in own.items() if key not in ("options", "return")}

    def call(**given: Any) -> None:
        options = Options(**{field.name: given.pop(field.name) for field in fields(Options)})
        SURFACE_CHOICE.set(options.surface_unit)
        function(**given, options=options)

    kind = inspect.Parameter.KEYWORD_ONLY
    parameters = [
        *(
            parameter.replace(annotation=hints[parameter.name], kind=kind)
            for parameter in inspect.signature(function).parameters.values()
            if parameter.name != "options"
        ),
        *(
            inspect.Parameter(one.name, kind, default=one.default, annotation=shared[one.name])
            for one in fields(Options)
        ),
    ]
    call.__doc__, call.__annotations__ = function.__doc__, {**hints, **shared}
    setattr(call, "__signature__", inspect.Signature(parameters))  # noqa: B010  mypy knows no such attribute
    app.command(name, cls=command_class(example))(call)
