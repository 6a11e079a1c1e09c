"""Trying mutants on copies of the project: the checkout itself is never changed."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from importlib.util import cache_from_source
from pathlib import Path

KILLED, TIMEOUT, SURVIVED = "killed", "timeout", "survived"
# What the tests need besides the package and themselves.
PARTS = ("interlock", "tests", "models", "diagrams", "faults", "README.md", "DEVELOPERS.md")
LEAST_SECONDS = 15.0
FACTOR = 3.0


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
        paths = [str(folder), *filter(None, [os.environ.get("PYTHONPATH")])]
        self._runs = subprocess.Popen(
            [sys.executable, "-P", str(Path(__file__).with_name("forking.py"))],
            cwd=folder,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def seconds(self, tests: Sequence[str]) -> float:
        """How much processor time the tests take without a mutant.

        Raises
        ------
        TableError
            If they fail.
        """
        outcome, told, seconds = self._ask(tests, 900)
        if outcome != SURVIVED:
            raise TableError(f"without a mutant: {outcome}\n{told}")
        return seconds

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

    def _ask(self, tests: Sequence[str], most_seconds: float) -> tuple[str, str, float]:
        order = ["-q", "-x", "-n", "0", "-m", "not slow", "-p", "no:cacheprovider"]
        request = ([*order, "--hypothesis-seed=0", "--tb=no", *tests], most_seconds)
        asked, answers = self._runs.stdin, self._runs.stdout
        assert asked is not None
        assert answers is not None
        asked.write(json.dumps(request) + "\n")
        asked.flush()
        code, seconds = json.loads(answers.readline())
        told = (self._folder / "told.txt").read_text("utf-8", "replace")
        return (TIMEOUT if code is None else KILLED if code else SURVIVED), told, seconds

    def close(self) -> None:
        """End the process that runs the tests."""
        self._runs.communicate()


def limit(baseline_seconds: float) -> float:
    """How much processor time a mutant may take before it counts as one that never ends."""
    return max(LEAST_SECONDS, FACTOR * baseline_seconds)
