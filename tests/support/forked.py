"""Commands in processes that have every import made when they begin: a helper forks for each."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

# A process of its own, since this one may have threads. What a command loads late is loaded here.
_HELPER = """
import importlib, json, os, pkgutil, sys
import interlock
from interlock.cli.main import run

for module in pkgutil.walk_packages(interlock.__path__, "interlock."):
    if not module.name.startswith(("interlock.__main__", "interlock.testing")):
        importlib.import_module(module.name)
for late in ("llvmlite.binding", "oxidd.bcdd", "ruamel.yaml", "weasyprint"):
    importlib.import_module(late)
print("ready", flush=True)
for line in sys.stdin:
    child = os.fork()
    if child == 0:
        nowhere = os.open(os.devnull, os.O_RDWR)
        for stream in range(3):
            os.dup2(nowhere, stream)
        os._exit(run(json.loads(line)))
    print(child, flush=True)
    # Until somebody waits for it, no other process can have its number.
    sys.stdin.readline()
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""


class Forking:
    """Starts commands of interlock, one at a time."""

    def __init__(self, helper: subprocess.Popen[str]) -> None:
        assert helper.stdin is not None
        assert helper.stdout is not None
        self._says, self._asks = helper.stdout, helper.stdin

    def start(self, arguments: Sequence[str]) -> int:
        """Begin a command; its process."""
        self._asks.write(json.dumps(list(arguments)) + "\n")
        self._asks.flush()
        return int(self._says.readline())

    def wait(self) -> int:
        """Wait for its end; its exit code, or less than 0 for the signal that ended it."""
        self._asks.write("wait\n")
        self._asks.flush()
        return int(self._says.readline())

    def seconds_alone(self, arguments: Sequence[str]) -> float:
        """How long a command takes where nobody kills it."""
        started = time.monotonic()
        self.start(arguments)
        assert self.wait() in (0, 1, 3)
        return time.monotonic() - started


@contextmanager
def forking() -> Iterator[Forking]:
    """Such a helper."""
    with subprocess.Popen(
        [sys.executable, "-c", _HELPER], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as helper:
        assert helper.stdout is not None
        assert helper.stdout.readline() == "ready\n"
        yield Forking(helper)
