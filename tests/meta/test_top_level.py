"""What lies at the top of the repository: nothing that a command left there by accident."""

from __future__ import annotations

import subprocess
from pathlib import Path

ROOT = Path(__file__).parents[2]
KEPT = {"README.md", "DEVELOPERS.md", "pyproject.toml", "interlock", "tests", "models", "diagrams"}


def test_nothing_lies_beside_the_rooms() -> None:
    listed = subprocess.run(
        ["git", "ls-files", "--cached"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    tops = {path.partition("/")[0] for path in listed}
    assert {top for top in tops if not top.startswith(".")} == KEPT
