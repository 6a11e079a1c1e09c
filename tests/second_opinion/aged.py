"""Random models whose signals come late, and what the second opinion thinks of them."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from pathlib import Path

from interlock.model.load import load
from interlock.model.model import Model
from interlock.st.types import BOOL
from tests.second_opinion.compare import ORDER, Disagreement, by_engine, by_sets
from tests.second_opinion.drawing import Drawn, draw_any
from tests.second_opinion.opinion import Opinion, opinions
from tests.second_opinion.reached import TooManyError, reach
from tests.second_opinion.timed import given_time
from tests.second_opinion.walking import Walk
from tests.second_opinion.world import Class, World

MOST_WALKED = 40


def draw_aged(seed: int, folder: Path) -> tuple[Drawn, Model]:
    """The model of `seed` with ages, and now and then with time.

    Parameters
    ----------
    seed : int
    folder : Path
    """
    for attempt in range(200):
        number = 1000 * seed + attempt
        drawn, model = draw_any(number, folder)
        by = random.Random(f"ages of {number}")
        if by.random() < 0.2 and not model.program.elapsed_reads:
            model = given_time(model, by)
        model = given_ages(model, by)
        if model.late_sensors:
            return drawn, model
    raise AssertionError(f"seed {seed} gives no model with a signal that may come late")


def walk_aged(seed: int, folder: Path, counts: Counter[str]) -> Iterator[str]:
    """Walk built system, judge and twin side by side through the model of `seed`."""
    _, model = draw_aged(seed, folder)
    walk = Walk(model, MOST_WALKED)
    for said in walk.disagreements():
        yield f"seed {seed}: {said}"
    counts["models walked"] += 1
    counts["models walked in which a signal is late"] += any("is late" in one for one in walk.told)
    counts["models walked with time"] += model.timing is not None
    counts["models walked with faults"] += bool(model.live_faults)
    counts["models walked with a frozen signal"] += any(
        kind.holds for fault in model.live_faults for kind in fault.sensors.values()
    )


def given_ages(model: Model, by: random.Random) -> Model:
    """The model with ages for some of the BOOL signals that read something."""
    inputs = {one.name: one.type for one in model.program.inputs}
    sensors = {
        name: replace(sensor, age=by.choice([0, 1, 1, 2, 3]))
        if inputs[name] == BOOL and not sensor.is_free
        else sensor
        for name, sensor in model.sensors.items()
    }
    return replace(model, sensors=sensors)


def asked_of_outputs(drawn: Drawn, model: Model, folder: Path) -> Model:
    """The model with more requirements: where and how long outputs are on where machines are."""
    types = {one.name: one.type for one in model.program.variables}
    outputs = [name for name in model.outputs if types[name] == BOOL][:2]
    lines = []
    for machine in list(model.machines.values())[:2]:
        for output in outputs:
            at = f"{machine.name} = {machine.states[-1]}"
            lines.append(f"never: {output} AND {at}")
            lines.append(f"never: NOT {output} AND {at}")
            lines.append(f"whenever: {at}, leads_to: {output}, within: 2 scans")
    asked = "".join(f"  A{n}: {{says: A{n}, {line}}}\n" for n, line in enumerate(lines))
    replace(drawn, yaml=drawn.yaml + asked).write(folder)
    return replace(model, statements={**load(folder).statements, **model.statements})


def without_ages(model: Model) -> Model:
    """The same model, each signal read as it is."""
    return replace(model, sensors={n: replace(s, age=0) for n, s in model.sensors.items()})


def compare_aged(
    seed: int,
    folder: Path,
    counts: Counter[str],
    most: int,
    engines: Collection[str],
    with_sets: bool = True,
) -> list[Disagreement]:
    """Draw a model of at most `most` states with ages; compare verdicts, lengths and sets."""
    for attempt in range(50):
        drawn, model = draw_aged(200 * seed + attempt, folder)
        model = asked_of_outputs(drawn, model, folder)
        try:
            ours = opinions(model, drawn.run_class, most)
            break
        except TooManyError:
            continue
    else:
        raise AssertionError(f"seed {seed} gives no model of a fitting size")
    counts["models"] += 1
    counts["models with several late signals"] += len(model.late_sensors) > 1
    for sensor in model.late_sensors:
        counts[f"signals of age {sensor.age}"] += 1
    counts.update(_fallen(ours, opinions(without_ages(model), drawn.run_class)))
    found = []
    for name in engines:
        found += by_engine(name, seed, model, drawn.run_class, ours, counts)
    if with_sets and model.live_faults and model.timing is None and _is_small(model, 5 * most):
        found += by_sets(seed, model, counts, whole_study=False)
    return found


def _is_small(model: Model, most: int) -> bool:
    """Whether so few states can be reached that all sets of faults can be asked for."""
    try:
        reach(World(model, Class(tuple(model.faults), ORDER)), most)
    except TooManyError:
        return False
    return True


def _fallen(ours: Mapping[str, Opinion], before: Mapping[str, Opinion]) -> Counter[str]:
    """How many requirements stand otherwise where no signal is late."""
    found = Counter[str]()
    for id_, opinion in ours.items():
        found["violated"] += opinion.is_violated
        found["kept"] += not opinion.is_violated
        found["violated with ages only"] += opinion.is_violated and not before[id_].is_violated
        found["violated without ages only"] += before[id_].is_violated and not opinion.is_violated
    return found
