"""Trying mutants on copies of the project: the checkout itself is never changed."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Sequence
from importlib.util import cache_from_source
from pathlib import Path
from time import monotonic

KILLED, TIMEOUT, SURVIVED = "killed", "timeout", "survived"
# What the tests need besides the package and themselves.
PARTS = ("interlock", "tests", "models", "diagrams", "faults", "README.md", "DEVELOPERS.md")
LEAST_SECONDS = 30.0
FACTOR = 5.0


class TableError(Exception):
    """The tests of a file do not pass without any mutant."""


class Copy:
    """A copy of the project in which one mutant is tried at a time.

    Parameters
    ----------
    root : Path
        The project.
    folder : Path
        Where the copy goes.
    """

    def __init__(self, root: Path, folder: Path) -> None:
        self._folder = folder
        ignored = shutil.ignore_patterns("__pycache__", ".hypothesis")
        for name in (*PARTS, "pyproject.toml"):
            if (root / name).is_dir():
                shutil.copytree(root / name, folder / name, ignore=ignored)
            elif (root / name).exists():
                shutil.copy2(root / name, folder / name)

    def seconds(self, tests: Sequence[str]) -> float:
        """How long the tests take without a mutant.

        Raises
        ------
        TableError
            If they fail.
        """
        started = monotonic()
        outcome, told = self._ask(tests, 900)
        if outcome != SURVIVED:
            raise TableError(f"without a mutant: {outcome}\n{told}")
        return monotonic() - started

    def outcome(self, file: str, text: str, tests: Sequence[str], most_seconds: float) -> str:
        """What becomes of the mutant `text` of `file`."""
        path = self._folder / file
        original = path.read_text("utf-8")
        try:
            self._write(path, text)
            return self._ask(tests, most_seconds)[0]
        finally:
            self._write(path, original)

    @staticmethod
    def _write(path: Path, text: str) -> None:
        path.write_text(text, "utf-8")
        # A mutant of the same length within the same second would be taken for what is compiled.
        Path(cache_from_source(str(path))).unlink(missing_ok=True)

    def _ask(self, tests: Sequence[str], most_seconds: float) -> tuple[str, str]:
        order = [sys.executable, "-m", "pytest", "-q", "-x", "-n", "0", "-m", "not slow"]
        paths = [str(self._folder), *filter(None, [os.environ.get("PYTHONPATH")])]
        process = subprocess.Popen(
            [*order, "-p", "no:cacheprovider", "--hypothesis-seed=0", "--tb=no", *tests],
            cwd=self._folder,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            start_new_session=True,
        )
        try:
            told, _ = process.communicate(timeout=most_seconds)
        except subprocess.TimeoutExpired:
            return TIMEOUT, ""
        finally:
            # Children of the tests, too: they are of its session.
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGKILL)
                process.communicate()
        return (KILLED if process.returncode else SURVIVED), told


def limit(baseline_seconds: float) -> float:
    """How long a mutant may take before it counts as one that never ends."""
    return max(LEAST_SECONDS, FACTOR * baseline_seconds)
