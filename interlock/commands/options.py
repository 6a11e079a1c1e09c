"""What several commands share: limits, the engine, progress on a terminal."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, get_args

import click

from interlock.base import cores
from interlock.base.errors import nearest
from interlock.base.interrupt import stopping_softly
from interlock.base.targets import check_target
from interlock.base.visible import in_one_line
from interlock.kernel.query import Limits, Progress, ProgressSink
from interlock.model.between import BetweenScans, BetweenText

if TYPE_CHECKING:
    from rich.console import Console

    from interlock.model.model import Model

LOG_WIDTH = 120
FIRST_LINE_S = 10.0


class OutputFile(click.Path):
    """A file to write, refused before the long work rather than after it; '-' may mean print.

    A link, a pipe or a device is no such file; see `interlock.base.targets`.
    """

    def __init__(self) -> None:
        super().__init__(path_type=Path)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """The path, where a file may be written there."""
        file = Path(os.fsdecode(super().convert(value, param, ctx)))
        if str(file) != "-":
            check_target(file)
        return file


Command = TypeVar("Command", bound=Callable[..., Any])


def _use(_context: click.Context, _option: click.Parameter, n_jobs: int | None) -> None:
    cores.use(n_jobs)


jobs_option = click.option(
    "-j",
    "--jobs",
    type=click.IntRange(1),
    metavar="N",
    expose_value=False,
    callback=_use,
    help="Threads that explore.  [default: 1]",
)


def limit_options(command: Command) -> Command:
    """Add the options that bound an exploration, cores included."""
    for option in (
        click.option("--max-memory", type=click.IntRange(1), metavar="MB", help="Memory limit."),
        click.option(
            "--max-seconds", type=click.FloatRange(0), metavar="S", help="Time limit of it all."
        ),
        click.option("--max-states", type=click.IntRange(1), metavar="N", help="State limit."),
        jobs_option,
    ):
        command = option(command)
    return command


class Between(click.Choice[str]):
    """An assumption on what happens between two scans, as model files say it."""

    def __init__(self) -> None:
        super().__init__(get_args(BetweenText))


assume_option = click.option(
    "--assume",
    type=Between(),
    metavar="BETWEEN",
    help="What may happen between two scans, in place of what the model says: 'one in all', 'two "
    "in all' and so on, 'each once' or 'any number'.",
)


def assuming(model: Model, assume: str | None) -> Model:
    """The model under what `assume_option` says."""
    return model if assume is None else model.assuming(BetweenScans.read(assume))


faults_option = click.option(
    "--faults",
    type=click.Choice(["claimed", "none"]),
    default="claimed",
    show_default=True,
    help="Judge each requirement under as many faults as it claims to survive, or under none.",
)


# All orders together: beyond that it is a question of minutes, which one asks for.
MOST_AT_ONCE = 16


def order_of(text: str | None, n_faults: int) -> int | None:
    """The most faults in one run that ``--order`` asks for; None for any number.

    Raises
    ------
    UsageError
        Where `text` is neither a number nor 'all'.
    """
    if text is None:
        return None if n_faults <= MOST_AT_ONCE else 1
    if text == "all":
        return None
    if text.isdecimal() and int(text) >= 1:
        return int(text)
    raise click.UsageError(f"--order: expected a whole number from 1, or 'all'; found '{text}'")


def check_requirements(model: Model, only: Sequence[str]) -> None:
    """Refuse an id that no requirement of the model has, the generated one included.

    Raises
    ------
    UsageError
    """
    from interlock.model.build import build

    known = build(model).requirements if only else {}
    for id_ in only:
        if id_ not in known:
            raise click.UsageError(f"no requirement '{id_}'{nearest(id_, known)}")


def limits_of(max_states: int | None, max_seconds: float | None, max_memory: int | None) -> Limits:
    """The limits that the options give; the time is for the whole command, from now on."""
    n_bytes = None if max_memory is None else max_memory * 1_000_000
    return Limits(max_states, max_seconds, n_bytes).from_now()


def console_for(plain: bool, log_width: int = LOG_WIDTH) -> Console:
    """Where a result is printed: colours on a terminal only, and none where NO_COLOR is set.

    Parameters
    ----------
    plain : bool
        Neither colours nor bold, wherever it goes.
    log_width : int
        Columns where nothing says how many there are: with `plain`, in files and in pipes.
    """
    from interlock.telling.terminal import Terminal

    if plain:
        return Terminal(color_system=None, width=log_width)
    is_told = sys.stdout.isatty() or "COLUMNS" in os.environ
    return Terminal(width=None if is_told else log_width)


def print_line(line: str, err: bool = False) -> None:
    """Print a line that may hold words of a model, with marks for what is not seen."""
    click.echo(in_one_line(line), err=err)


@contextmanager
def progress_line() -> Iterator[ProgressSink]:
    """A line on the terminal that follows a long exploration; in a log a line now and then."""

    def told(now: Progress) -> str:
        return f"{now.stage}: {now.n_states:,} states, {now.seconds:.0f} s"

    with terminal_line() as show:
        yield _lines_now_and_then(told) if show is None else lambda now: show(told(now))


def _lines_now_and_then(told: Callable[[Progress], str]) -> ProgressSink:
    """In a log: a line after ten seconds, then after twice as long each time."""
    started, next_s = time.monotonic(), [FIRST_LINE_S]

    def sink(now: Progress) -> None:
        passed = time.monotonic() - started
        if passed >= next_s[0]:
            next_s[0] = 2 * passed
            click.echo(told(now), err=True)

    return sink


@contextmanager
def stopped_softly() -> Iterator[None]:
    """Within this Ctrl-C ends the work early, and what is decided so far is told."""
    with stopping_softly(
        lambda: click.echo("\nstopping; what is decided so far follows", err=True)
    ):
        yield


@contextmanager
def terminal_line() -> Iterator[Callable[[str], None] | None]:
    """A line on the terminal that is written over and goes at last; None where nobody watches."""
    if not sys.stderr.isatty():
        yield None
        return

    def show(text: str) -> None:
        sys.stderr.write(f"\r\033[K{text[:78]}")
        sys.stderr.flush()

    try:
        yield show
    finally:
        sys.stderr.write("\r\033[K")
        sys.stderr.flush()
