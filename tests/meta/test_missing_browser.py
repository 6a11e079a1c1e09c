"""Where nobody looks at what was skipped, tests that need a browser fail without one."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ONE = "tests/browser/test_access.py::test_a_rebound_name_gets_nothing"


@pytest.mark.parametrize(
    ("ci", "code", "says"),
    [("true", 1, "chromium is not installed"), ("", 0, "1 skipped")],
)
def test_without_a_browser_ci_fails_and_others_skip(ci: str, code: int, says: str) -> None:
    # Nothing is found on this path, so no browser is.
    environment = {**os.environ, "PATH": str(ROOT / "tests" / "meta"), "CI": ci}
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-n", "0", ONE]
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True)
    assert done.returncode == code, done.stdout + done.stderr
    assert says in done.stdout
