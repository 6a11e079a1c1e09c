"""What became of each mutant, one line of JSON after the other, so that a run can go on later.

An entry counts only for the same text of the file and of the tests that were asked.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from hashlib import sha256
from pathlib import Path

from tests.mutants.mutant import Mutant


def fingerprint(root: Path, file: str, tests: Iterable[str]) -> str:
    """A hash of the file and of everything under the paths of its tests."""
    seen = sha256((root / file).read_bytes())
    for asked in tests:
        path = root / asked.partition("::")[0]
        for one in sorted(path.rglob("*.py")) if path.is_dir() else [path]:
            seen.update(one.relative_to(root).as_posix().encode() + b"\0" + one.read_bytes())
    return seen.hexdigest()[:16]


class Journal:
    """The results kept in one file.

    Parameters
    ----------
    path : Path
        Made, with its folder, by the first result.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._known: dict[tuple[str, str, int], str] = {}
        for line in path.read_text("utf-8").splitlines() if path.exists() else []:
            try:
                print_, operator, occurrence, outcome = json.loads(line)
            except ValueError:
                continue  # the run was ended while it wrote this line
            self._known[print_, operator, occurrence] = outcome

    def outcome(self, print_: str, mutant: Mutant) -> str | None:
        """What became of a mutant before, if it was tried."""
        return self._known.get((print_, mutant.operator, mutant.occurrence))

    def note(self, print_: str, mutant: Mutant, outcome: str) -> None:
        """Keep a result."""
        self._known[print_, mutant.operator, mutant.occurrence] = outcome
        self._path.parent.mkdir(parents=True, exist_ok=True)
        with self._path.open("a", encoding="utf-8") as file:
            row = [print_, mutant.operator, mutant.occurrence, outcome]
            file.write(json.dumps(row) + "\n")
