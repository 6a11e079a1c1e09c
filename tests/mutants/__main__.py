"""Changes the core in one place after the other and asks whether a test notices.

Run it with ``python -m tests.mutants`` after ``pip install -e '.[test,mutants]'``. It takes long
and is no part of what every commit must pass. A survivor is a test that is missing, or a mutant
that is equivalent: then `equivalent.toml` says why. What is left out stands in `mutant.py`.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import SimpleQueue

import click

from tests.mutants.equivalents import StaleError, equivalents_of, read_equivalents
from tests.mutants.journal import Journal, fingerprint
from tests.mutants.library import changed
from tests.mutants.mutant import Mutant
from tests.mutants.mutants import Mutants
from tests.mutants.targets import TARGETS
from tests.mutants.trying import SURVIVED, Copy, TableError, limit

ROOT = Path(__file__).parents[2]
EQUIVALENT = "equivalent"


@click.command()
@click.argument("files", nargs=-1)
@click.option("--sample", type=click.IntRange(1), help="Try only so many mutants of each file.")
@click.option("--seed", default=0, show_default=True, help="Which ones a sample takes.")
@click.option("--jobs", default=2, show_default=True, help="How many copies work at a time.")
@click.option("--cache", type=click.Path(path_type=Path), default=ROOT / ".mutants")
def main(files: tuple[str, ...], sample: int | None, seed: int, jobs: int, cache: Path) -> None:
    """Try mutants of FILES, or of every file of the table; a part of a path is enough."""
    chosen = [file for file in TARGETS if not files or any(part in file for part in files)]
    if not chosen:
        raise click.UsageError(f"no file of the table has {' or '.join(files)} in its path")
    trial = _Trial(Journal(cache / "journal.jsonl"), jobs)
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        try:
            rows = {file: trial.of_file(file, sample, seed, Path(folder)) for file in chosen}
        except (StaleError, TableError) as error:
            raise click.ClickException(str(error)) from None
        finally:
            trial.close()
    _tell(rows)
    sys.exit(any(row[SURVIVED] for row in rows.values()))


class _Trial:
    """Mutants tried in several copies at a time, remembered in a journal."""

    def __init__(self, journal: Journal, jobs: int) -> None:
        self._journal = journal
        self._jobs = jobs
        self._copies: SimpleQueue[Copy] = SimpleQueue()
        self._n_copies = 0

    def close(self) -> None:
        """Give the copies back."""
        while not self._copies.empty():
            self._copies.get().close()

    def of_file(self, file: str, sample: int | None, seed: int, folder: Path) -> Counter[str]:
        """How many mutants of one file came to what."""
        tests = TARGETS[file]
        source = (ROOT / file).read_text("utf-8")
        known = Mutants(file, source)
        entries = [entry for entry in read_equivalents() if entry.file == file]
        equivalent = equivalents_of(known, entries)
        mutants = known.all() if sample is None else known.sample(sample, f"{seed} {file}")
        print_ = fingerprint(ROOT, file, tests)
        outcomes = Counter({EQUIVALENT: sum(m in equivalent for m in mutants)})
        asked = [m for m in mutants if m not in equivalent]
        open_ = [m for m in asked if self._journal.outcome(print_, m) is None]
        for mutant, outcome in self._try(file, source, open_, tests, folder):
            self._journal.note(print_, mutant, outcome)
        for mutant in asked:
            outcome = self._journal.outcome(print_, mutant)
            assert outcome is not None
            outcomes[outcome] += 1
            if outcome == SURVIVED:
                _tell_survivor(mutant)
        return outcomes

    def _try(
        self, file: str, source: str, mutants: Sequence[Mutant], tests: Sequence[str], folder: Path
    ) -> Iterator[tuple[Mutant, str]]:
        if not mutants:
            return
        while self._n_copies < self._jobs:
            self._copies.put(Copy(ROOT, folder / str(self._n_copies)))
            self._n_copies += 1
        copy = self._copies.get()
        try:
            baseline_seconds = copy.seconds(tests)
        finally:
            self._copies.put(copy)
        click.echo(f"{file}: {len(mutants)} mutants, {baseline_seconds:.0f} s each", err=True)

        def outcome(mutant: Mutant) -> str:
            text = changed(source, mutant.operator, mutant.occurrence)
            copy = self._copies.get()
            try:
                return copy.outcome(file, text, tests, limit(baseline_seconds))
            finally:
                self._copies.put(copy)

        with ThreadPoolExecutor(self._jobs) as pool:
            yield from zip(mutants, pool.map(outcome, mutants), strict=True)


def _tell_survivor(mutant: Mutant) -> None:
    click.echo(f"\n{mutant.file}:{mutant.line} survived, in {mutant.inside or 'the file itself'}")
    click.echo("".join(f"  - {line}\n" for line in mutant.before.splitlines()), nl=False)
    click.echo("".join(f"  + {line}\n" for line in mutant.after.splitlines()), nl=False)


def _tell(rows: dict[str, Counter[str]]) -> None:
    head = ("mutants", "killed", "survived", "equivalent")
    wide = max(map(len, rows))
    click.echo(f"\n{'file':<{wide}} " + " ".join(f"{name:>10}" for name in head))
    for file, row in rows.items():
        killed = row.total() - row[SURVIVED] - row[EQUIVALENT]
        numbers = (row.total(), killed, row[SURVIVED], row[EQUIVALENT])
        click.echo(f"{file:<{wide}} " + " ".join(f"{n:>10}" for n in numbers))


if __name__ == "__main__":
    main()
