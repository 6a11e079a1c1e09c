"""Random models with time whose signals and outputs are delayed, and what the twin thinks."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import replace
from pathlib import Path

from interlock.model.model import Delay, Model
from interlock.st.types import BOOL
from tests.second_opinion.aged import asked_of_outputs
from tests.second_opinion.compare import Disagreement, by_engine, by_sets
from tests.second_opinion.drawing import Drawn, draw, draw_any
from tests.second_opinion.opinion import Opinion, opinions
from tests.second_opinion.reached import TooManyError
from tests.second_opinion.timed import MOST_BEFORE_TIME, given_time
from tests.second_opinion.walking import Walk

MOST_WALKED = 60
# In milliseconds; few are whole units.
DELAYS = [40, 100, 100, 150, 200, 260]


def given_delays(model: Model, by: random.Random, chance: float = 0.4) -> Model:
    """The model with delays for some of its BOOL outputs, and of its BOOL signals that read."""

    def delay() -> Delay | None:
        if by.random() > chance:
            return None
        return Delay(by.choice(DELAYS), None, assumed=True, in_time=True)

    inputs = {one.name: one.type for one in model.program.inputs}
    sensors = {
        name: replace(s, delay=delay() if inputs[name] == BOOL and not s.is_free else None)
        for name, s in model.sensors.items()
    }
    types = {one.name: one.type for one in model.program.variables}
    outputs = {
        name: replace(output, delay=delay() if types[name] == BOOL else None)
        for name, output in model.outputs.items()
    }
    return replace(model, sensors=sensors, outputs=outputs)


def without_delays(model: Model) -> Model:
    """The same model, where nothing is late."""
    sensors = {name: replace(sensor, delay=None) for name, sensor in model.sensors.items()}
    outputs = {name: replace(output, delay=None) for name, output in model.outputs.items()}
    return replace(model, sensors=sensors, outputs=outputs)


def walk_delayed(seed: int, folder: Path, counts: Counter[str]) -> Iterator[str]:
    """Walk built system, judge and twin side by side through a model of `seed`."""
    for attempt in range(200):
        number = 1000 * seed + attempt
        _, model = draw_any(number, folder)
        by = random.Random(f"delays of {number}")
        if not model.program.elapsed_reads:
            model = given_delays(given_time(model, by), by)
            if model.delayed_outputs:
                break
    else:
        raise AssertionError(f"seed {seed} gives no model with a delayed output")
    walk = Walk(model, MOST_WALKED)
    for said in walk.disagreements():
        yield f"seed {seed}: {said}"
    counts["models walked"] += 1
    for what in ("is late", "takes effect", "lags behind", "tick"):
        counts[f"models walked in which something {what}"] += any(what in one for one in walk.told)
    counts["models walked with an output that freezes"] += any(
        kind.holds for fault in model.live_faults for kind in fault.outputs.values()
    )


def draw_delayed(
    seed: int, folder: Path, most: int
) -> tuple[Drawn, Model, dict[str, Opinion], dict[str, Opinion]]:
    """A model of `seed`, and what the twin thinks of it with its delays and without."""
    for attempt in range(300):
        number = 1000 * seed + attempt
        drawn, model = draw(number, folder / str(attempt), MOST_BEFORE_TIME)
        if model.program.elapsed_reads:
            continue
        by = random.Random(f"delays of {number}")
        model = asked_of_outputs(drawn, model, folder / str(attempt) / "asked")
        model = given_delays(given_time(model, by), by, 0.2)
        if not model.delayed_outputs and not model.late_sensors:
            continue
        try:
            ours = opinions(model, drawn.run_class, most)
            return drawn, model, ours, opinions(without_delays(model), drawn.run_class, most)
        except TooManyError:
            continue
    raise AssertionError(f"seed {seed} gives no model of a fitting size")


def compare_delayed(
    seed: int,
    folder: Path,
    counts: Counter[str],
    most: int,
    engines: Collection[str],
    with_sets: bool = False,
) -> list[Disagreement]:
    """Compare verdicts, what is vacuous, lengths and sets of faults of a model of `seed`."""
    drawn, model, ours, before = draw_delayed(seed, folder, most)
    counts["models"] += 1
    counts["models with a late signal"] += bool(model.late_sensors)
    counts["models with a delayed output"] += bool(model.delayed_outputs)
    for id_, opinion in ours.items():
        counts["violated" if opinion.is_violated else "kept"] += not opinion.is_vacuous
        if id_ in before:
            fell, rose = opinion.is_violated, before[id_].is_violated
            counts["violated with delays only"] += fell and not rose
            counts["violated without delays only"] += rose and not fell
    found = []
    for name in engines:
        found += by_engine(name, seed, model, drawn.run_class, ours, counts)
    if with_sets and model.live_faults:
        found += by_sets(seed, model, counts, whole_study=True)
    return found
