"""Many courses of a quantity in true time, each of which must be a run of its bands.

``python -m tests.bench.courses --courses 700`` ends with 1 at the first that is none, and shows it.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.agree.test_quantities_agree import follow

if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--courses", type=int, default=700)
    n_courses = parser.parse_args().courses
    with TemporaryDirectory() as folder:
        passed = follow(Path(folder), n_courses)
    print(f"{len(passed)} courses, {sum(passed)} steps passed")
