"""The command ``wearsim``: the list of its commands, and how it ends.

Nothing here or in a command's module is imported at the top but typer and the standard library: ``--help``
answers at once, and what a command needs is imported inside it.
"""

from __future__ import annotations

import errno
import sys
import traceback
from collections.abc import Sequence
from typing import Annotated

import typer

from wearsim import __version__
from wearsim.cli import calibrate, compare, history, mask, new, page, predict, propose, record, reduce, rehearse, study
from wearsim.cli.options import add, group_class
from wearsim.cli.terminal import Messages, be_ready, discard_output
from wearsim.errors import WearsimError

INTERRUPTED = 130
# All of typer's complaints about a command line, in every version of it, derive from this.
UsageError: type[Exception] = typer.BadParameter.__bases__[0]

app = typer.Typer(
    name="wearsim",
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    no_args_is_help=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)
FIRST = "Begin with: wearsim new my-mirror\nor with a ready-made bench: wearsim propose raised-zone-300"
TOP_EXAMPLE = "wearsim predict bench.toml --programme programme.toml --plot out.png"


@app.callback(cls=group_class(TOP_EXAMPLE), invoke_without_command=True, epilog=FIRST)
def wearsim(
    context: typer.Context, version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False
) -> None:
    """What a stroke does to a mirror, and what to do next."""
    if version:
        typer.echo(f"wearsim {__version__}")
        raise typer.Exit
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


for _module in (reduce, predict, propose, compare, study, record, calibrate, history, rehearse, mask, new, page):
    add(app, _module.command, _module.NAME, _module.EXAMPLE)


def run(argv: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments without the program's name; those of the process by default.

    Returns
    -------
    int
        0 done, 1 could not, 2 bad input, 130 interrupted.
    """
    arguments = list(sys.argv[1:] if argv is None else argv)
    debug = "--debug" in arguments
    be_ready()
    try:
        done = typer.main.get_command(app).main(arguments, prog_name="wearsim", standalone_mode=False)
        sys.stdout.flush()
    except UsageError as error:
        return _usage(error, arguments)
    except WearsimError as error:
        if debug:
            traceback.print_exc()
        Messages().fail(str(error))
        return error.exit_code
    except (OSError, MemoryError) as error:
        if isinstance(error, BrokenPipeError):  # whoever read stdout has gone
            discard_output()
            return 1
        if debug:
            traceback.print_exc()
        discard_output()
        Messages().fail(_of_the_machine(error))
        return 2 if getattr(error, "errno", None) in _OF_THE_NAME else 1
    except (KeyboardInterrupt, typer.Abort):
        Messages().fail("interrupted")
        return INTERRUPTED
    if done == INTERRUPTED:
        Messages().fail("interrupted")
    return done if isinstance(done, int) else 0


_OF_THE_NAME = (errno.ENAMETOOLONG, errno.ENOTDIR, errno.ELOOP, errno.EISDIR, errno.EACCES, errno.EINVAL)
"""What the system says of a path that a person gave."""


def _of_the_machine(error: OSError | MemoryError) -> str:
    """One line for what the machine refuses in a place where nobody expected it."""
    if isinstance(error, MemoryError):
        return "out of memory"
    name = "" if error.filename is None else f"{error.filename}: "
    return f"{name}{error.strerror or error}"


def _usage(error: Exception, arguments: Sequence[str]) -> int:
    """One line for a command line that cannot be understood, and where to look."""
    message = " ".join(error.format_message().split())  # type: ignore[attr-defined]
    message = message.replace("Value error, ", "")
    head, wanted, expected = message.partition("Input should be ")
    if wanted:
        message = f"{head}{_value_given(error, arguments)}expected {_in_plain_words(expected)}"
    context = getattr(error, "ctx", None)
    where = context.command_path if context is not None else "wearsim"
    if where == "wearsim" and message.startswith("No such option"):
        message = (
            f"{message.rstrip('.')}: put options after the command, as in wearsim propose bench.toml {arguments[0]}"
        )
    Messages().fail(f"{message.rstrip('.')} (see {where} --help)")
    return 2


def _value_given(error: Exception, arguments: Sequence[str]) -> str:
    """What was given for the option of an error, where the command line shows it."""
    for option in getattr(getattr(error, "param", None), "opts", ()):
        for place, argument in enumerate(arguments):
            if argument.startswith(f"{option}="):
                return f'got "{argument.partition("=")[2]}"; '
            if argument == option and place + 1 < len(arguments):
                return f'got "{arguments[place + 1]}"; '
    return ""


def _in_plain_words(expected: str) -> str:
    """What a validator expects, in words for a person."""
    for technical, plain in (
        ("a valid integer", "a whole number"), ("a valid number", "a number"),
        ("greater than or equal to", "at least"), ("less than or equal to", "at most"),
    ):  # fmt: skip
        expected = expected.replace(technical, plain)
    return expected.partition(", unable")[0]
