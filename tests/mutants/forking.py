"""A process that has made the slow imports, and forks for each run of tests.

Started by `trying.Copy` as a file of its own: it must know nothing of the project, since its
children import that anew, with a mutant in it. A request is a line of JSON, the arguments of pytest
and the most seconds of processor time; the answer is a line, too: the exit code, null where these
were over, and the seconds that were used.
"""

from __future__ import annotations

import json
import os
import resource
import signal
import sys
from collections.abc import Sequence
from contextlib import suppress
from math import ceil
from time import monotonic, sleep

import pytest
from hypothesis import Phase, settings

SLICE_S = 0.02
# What takes longer than its share of a busy machine explains waits for something.
MOST_SHARED = 10


def main() -> None:
    """Answer requests until there are no more."""
    # That a test fails is enough; the smallest example of it takes minutes now and then.
    phases = [phase for phase in settings().phases if phase not in (Phase.shrink, Phase.explain)]
    settings.register_profile("mutants", phases=phases, database=None)
    settings.load_profile("mutants")
    for line in sys.stdin:
        arguments, most_seconds = json.loads(line)
        print(json.dumps(_run(arguments, most_seconds)), flush=True)


def _run(arguments: Sequence[str], most_seconds: float) -> tuple[int | None, float]:
    """The exit code, None where time ran out, and the seconds of processor time."""
    child = os.fork()
    if child == 0:
        _be_child(arguments, most_seconds)
    started, ended = monotonic(), 0
    while not ended and monotonic() - started < MOST_SHARED * most_seconds:
        sleep(SLICE_S)
        ended, status, used = os.wait4(child, os.WNOHANG)
    with suppress(ProcessLookupError):
        # Children of the tests, too: they are of its session.
        os.killpg(child, signal.SIGKILL)
    if not ended:
        _, status, used = os.wait4(child, 0)
    code = os.waitstatus_to_exitcode(status)
    is_over = code in (-signal.SIGKILL, -signal.SIGXCPU)
    return None if is_over else code, used.ru_utime + used.ru_stime


def _be_child(arguments: Sequence[str], most_seconds: float) -> None:
    code = 70
    try:
        resource.setrlimit(resource.RLIMIT_CPU, (ceil(most_seconds),) * 2)
        os.setsid()
        with open("told.txt", "wb") as told:
            for stream in (1, 2):
                os.dup2(told.fileno(), stream)
        code = int(pytest.main(list(arguments)))
    finally:
        sys.stdout.flush()
        os._exit(code)


if __name__ == "__main__":
    main()
