"""What several commands share: limits, the engine, progress on a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

import click

from interlock.kernel.query import Limits, Progress, ProgressSink

Command = TypeVar("Command", bound=Callable[..., Any])


def limit_options(command: Command) -> Command:
    """Add the options that bound an exploration."""
    for option in (
        click.option("--max-memory", type=click.IntRange(1), metavar="MB", help="Memory limit."),
        click.option("--max-seconds", type=click.FloatRange(0), metavar="S", help="Time limit."),
        click.option("--max-states", type=click.IntRange(1), metavar="N", help="State limit."),
    ):
        command = option(command)
    return command


def limits_of(max_states: int | None, max_seconds: float | None, max_memory: int | None) -> Limits:
    """The limits that the options give."""
    n_bytes = None if max_memory is None else max_memory * 1_000_000
    return Limits(max_states, max_seconds, n_bytes)


@contextmanager
def progress_line() -> Iterator[ProgressSink | None]:
    """A line on the terminal that follows a long exploration; None where nobody watches."""
    if not sys.stderr.isatty():
        yield None
        return

    def show(now: Progress) -> None:
        text = f"{now.stage}: {now.n_states:,} states, {now.seconds:.0f} s"
        sys.stderr.write(f"\r\033[K{text[:78]}")
        sys.stderr.flush()

    try:
        yield show
    finally:
        sys.stderr.write("\r\033[K")
        sys.stderr.flush()
