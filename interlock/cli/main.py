"""The ``interlock`` command: parse, study, present, exit code."""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from traceback import print_exception
from typing import Any

import click

from interlock import __version__
from interlock.base.errors import InputError, defect_in_words
from interlock.commands.exits import (
    EXIT_BAD_INPUT,
    EXIT_HOLDS,
    EXIT_INTERNAL,
    EXIT_UNDECIDED,
)

# Each command lives in a module of its own, imported when it is asked for.
COMMANDS = {
    "verify": "explore a model exhaustively and judge its requirements",
    "recheck": "check verdicts again from their evidence, without any engine",
    "replay": "find the first moment at which a recorded run cannot be explained",
    "faults": "insert faults: smallest sets that break a requirement, what each fault does",
    "rating": "ISO 13849-1 and IEC 62061 arithmetic; what faults say against claimed categories",
    "compare": "compare a design change with the model before it",
    "challenge": "seed defects and see which requirement notices each",
    "margins": "which other times would do, and how near each is to its edge",
    "advise": "the weakest permissive of each output, beside what the program says",
    "draw": "draw state diagrams, the map of conversions and what permits what",
    "rehearse": "rehearse procedures as written and with human deviations",
    "operate": "operate the model by hand in a browser: press, drive, let things fail",
    "testsheet": "the commissioning sheet: what to try in the yard and what must be seen",
    "report": "everything about a model for its assessor: one page, and PDF",
    "schema": "print the JSON Schema of model files, for editors",
    "export": "write a model in open formats: SCXML, Structured Text",
    "adopt": "take a state chart (SCXML) over as the plant of a model",
    "new": "start a model of your own",
    "explain": "what a word of programs, requirements and faults means here",
    "doctor": "tell what is installed and whether it works",
}


# What a machine that is full answers; no defect of a program.
_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EIO)

# Those that belong to no model, and the one that shares a room.
_ELSEWHERE = {
    "adopt": "interlock.commands.export.adopt",
    "doctor": "interlock.cli.doctor",
    "schema": "interlock.cli.schema",
}


def home_of(command: str) -> str:
    """The module that holds the click command called `command`."""
    return _ELSEWHERE.get(command, f"interlock.commands.{command}.command")


class _ReaderGoneError(Exception):
    """Nobody reads any more what is written."""


@contextmanager
def _noticing_readers() -> Iterator[None]:
    # Click itself would end with 1, which here is a violation.
    try:
        yield
    except BrokenPipeError:
        raise _ReaderGoneError from None


class _Commands(click.Group):
    def make_context(self, *args: Any, **options: Any) -> click.Context:
        with _noticing_readers():
            return super().make_context(*args, **options)

    def invoke(self, ctx: click.Context) -> Any:
        with _noticing_readers():
            return super().invoke(ctx)

    def list_commands(self, _ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, _ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(home_of(cmd_name)).command
        return command

    def format_commands(self, _ctx: click.Context, formatter: click.HelpFormatter) -> None:
        # The one-line helps are known here, so that help loads none of the commands.
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="interlock")
def cli() -> None:
    """Verify the safety-interlock logic of a convertible vehicle body.

    Exit codes: 0 holds, 1 violated, 2 bad input, 3 undecided (a limit was hit), 4 a defect of
    interlock itself.
    """


def main() -> None:
    """Run the command line; every mistake of a user ends in one clear line each and exit 2."""
    sys.exit(run(sys.argv[1:]))


def run(arguments: list[str]) -> int:
    """Run the command line with `arguments` and return the exit code."""
    # Looking for plug-ins of the schema library takes longer than checking most models.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    try:
        result = cli.main(arguments, prog_name="interlock", standalone_mode=False)
    except _ReaderGoneError:
        # What is left to be written would fail once more when the program ends.
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
        return EXIT_UNDECIDED
    except (click.Abort, KeyboardInterrupt):
        return _stopped()
    except Exception as error:
        return _told(error)
    return result if isinstance(result, int) else EXIT_HOLDS


def _told(error: Exception) -> int:
    """Say what ended a command; what nobody expects is a defect of interlock."""
    match error:
        case InputError():
            for mistake in error.mistakes:
                click.echo(str(mistake), err=True)
            return EXIT_BAD_INPUT
        case click.ClickException():
            error.show()
            return EXIT_BAD_INPUT
        case MemoryError():
            return _stopped(": out of memory")
        case OSError(errno=number) if number in _FULL:
            return _stopped(f": {error.strerror}")
        case _:
            click.echo(defect_in_words(error), err=True)
            click.echo("please report it with the model's files", err=True)
            if sys.flags.dev_mode:
                print_exception(error)
            return EXIT_INTERNAL


def _stopped(why: str = "") -> int:
    click.echo(f"stopped; no verdict{why}", err=True)
    return EXIT_UNDECIDED
