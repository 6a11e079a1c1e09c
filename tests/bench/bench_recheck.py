"""What evidence and its check take: ``python -m tests.bench.bench_recheck MODEL [verify options]``.

For example ``python -m tests.bench.bench_recheck models/wren --faults none``. Seconds are of CPU,
of one process; nothing here is judged by them.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path
from time import process_time

from interlock.cli.main import run
from interlock.commands.recheck.check import recheck
from tests.bench.__main__ import _line


def main(model: str, options: list[str]) -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder:
        evidence = Path(folder) / "evidence"
        started = process_time()
        code = run(["verify", model, "--plain", "--evidence", str(evidence), *options])
        print()
        _line(f"seconds: verify --evidence, exit code {code}", f"{process_time() - started:.1f}")
        sizes = [file.stat().st_size for file in evidence.rglob("*") if file.is_file()]
        _line("files, MB", f"{len(sizes)}, {sum(sizes) / 1e6:.1f}")
        started = process_time()
        found = recheck(evidence, Path(model))
        _line("seconds: recheck", f"{process_time() - started:.1f}")
        _line("obligations", f"{found.n_obligations:,}")
        slowest, seconds = found.slowest
        _line(f"slowest: {slowest}"[:66], f"{seconds:.2f} s")
        for status, n in Counter(result.status for result in found.results).items():
            _line(status.value, str(n))


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2:])
