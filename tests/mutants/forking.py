"""A process that has made the slow imports, and forks for each run of tests.

Started by `trying.Copy` as a file of its own: it must know nothing of the project, since its
children import that anew, with a mutant in it. A request is a line of JSON, the arguments of pytest
and the most seconds; the answer is a line, too: the exit code, or null where these were over.
"""

from __future__ import annotations

import json
import os
import signal
import sys
from collections.abc import Sequence
from contextlib import suppress
from time import monotonic, sleep

import pytest
from hypothesis import Phase, settings

SLICE_S = 0.02


def main() -> None:
    """Answer requests until there are no more."""
    # That a test fails is enough; the smallest example of it takes minutes now and then.
    phases = [phase for phase in settings().phases if phase not in (Phase.shrink, Phase.explain)]
    settings.register_profile("mutants", phases=phases, database=None)
    settings.load_profile("mutants")
    for line in sys.stdin:
        arguments, most_seconds = json.loads(line)
        print(json.dumps(_run(arguments, most_seconds)), flush=True)


def _run(arguments: Sequence[str], most_seconds: float) -> int | None:
    child = os.fork()
    if child == 0:
        _be_child(arguments)
    started = monotonic()
    while True:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            code = os.waitstatus_to_exitcode(status)
            break
        if monotonic() - started > most_seconds:
            code = None
            break
        sleep(SLICE_S)
    with suppress(ProcessLookupError):
        # Children of the tests, too: they are of its session.
        os.killpg(child, signal.SIGKILL)
    if code is None:
        os.waitpid(child, 0)
    return code


def _be_child(arguments: Sequence[str]) -> None:
    code = 70
    try:
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
