"""Commands against their slow twins on many random models.

``python -m tests.bench.twins challenge --models 300`` draws 300 models, prints each disagreement
and what was compared, and ends with 1 where there is a disagreement.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from random import Random
from time import process_time

from interlock.model.model import Model
from tests.second_opinion.advised import advised
from tests.second_opinion.challenged import challenged
from tests.second_opinion.charted import charted
from tests.second_opinion.delays_drawn import given_delays
from tests.second_opinion.drawing import Drawn, draw
from tests.second_opinion.opinion import opinions
from tests.second_opinion.reached import TooManyError
from tests.second_opinion.recorded import replayed
from tests.second_opinion.timed import draw_timed

MOST_IN_TIME, MOST_DELAYED = 60, 3_000
Twin = Callable[[Drawn, Model, Path, Counter[str], int], Iterator[str]]


def _challenge(
    _drawn: Drawn, model: Model, _folder: Path, counts: Counter[str], seed: int
) -> Iterator[str]:
    return challenged(model, counts, "reference", seed)


def _replay(
    drawn: Drawn, model: Model, folder: Path, counts: Counter[str], seed: int
) -> Iterator[str]:
    return replayed(model, drawn.run_class, folder, counts, seed)


def _advise(
    _drawn: Drawn, model: Model, _folder: Path, counts: Counter[str], _seed: int
) -> Iterator[str]:
    return advised(model, counts)


def _advise_in_time(
    drawn: Drawn, _model: Model, folder: Path, counts: Counter[str], seed: int
) -> Iterator[str]:
    _, model, _ = draw_timed(seed, folder / "timed", MOST_IN_TIME)
    model = given_delays(model, Random(seed))
    try:
        opinions(model, drawn.run_class, MOST_DELAYED)
    except TooManyError:
        return iter(())
    counts["models with delays"] += bool(model.late_sensors or model.delayed_outputs)
    return advised(model, counts)


def _charts(
    drawn: Drawn, model: Model, folder: Path, counts: Counter[str], _seed: int
) -> Iterator[str]:
    return charted(drawn, model, folder, counts)


# With the most states that a model may have.
TWINS: dict[str, tuple[Twin, int]] = {
    "advise": (_advise, 150),
    "advise-in-time": (_advise_in_time, 150),
    "challenge": (_challenge, 150),
    "charts": (_charts, 500),
    "replay": (_replay, 500),
}


def main() -> int:
    """Compare and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("twin", choices=sorted(TWINS))
    parser.add_argument("--models", type=int, default=300, help="how many models")
    parser.add_argument("--first", type=int, default=0, help="seed of the first model")
    given = parser.parse_args()
    twin, most_states = TWINS[given.twin]
    counts: Counter[str] = Counter()
    n_wrong = 0
    started = process_time()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(given.first, given.first + given.models):
            own = Path(folder) / str(seed)
            drawn, model = draw(seed, own, most_states)
            for wrong in twin(drawn, model, own, counts, seed):
                n_wrong += 1
                print(f"seed {seed}: {wrong}", flush=True)
    for what, number in sorted(counts.items()):
        print(f"{number:12,} {what}")
    print(f"{n_wrong:12,} disagreements")
    print(f"{process_time() - started:12,.0f} seconds of processor time")
    return int(bool(n_wrong))


if __name__ == "__main__":
    sys.exit(main())
