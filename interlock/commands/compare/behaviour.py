"""Behaviour: where two controllers that scan one plant first differ, output by output.

Where the change is one of the plant, too, they are run on either plant: what the old one never
reaches says nothing of what the new one does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import Enum

from interlock.base.errors import InternalError
from interlock.commands.compare.plants import same_plant
from interlock.commands.compare.product import (
    TOGETHER,
    NotApplicableError,
    Product,
    both_on_one_plant,
)
from interlock.commands.compare.timer_pairs import NEW
from interlock.independent_judge.happenings import Happening
from interlock.independent_judge.lockstep import Lockstep, Parting
from interlock.kernel.expr import FALSE
from interlock.kernel.query import Engine, Limits, ProgressSink, Reach, labelled
from interlock.kernel.witness import Witness
from interlock.model.build import Built


class Likeness(Enum):
    """What is known of an output that both controllers have."""

    DIFFERS = "differs"
    EQUAL = "equal over everything reachable"
    EITHER_PLANT = "alike on either plant, but what it depends on moves otherwise"
    OLD_PLANT = "alike on the old plant, unknown on the new one"
    SAME_LOGIC = "computed as before"  # the same function of the same signals
    ALIKE = "alike until another output differs"
    UNDECIDED = "undecided"


@dataclass(frozen=True)
class OutputComparison:
    """One output of both controllers.

    Attributes
    ----------
    output : str
        By its name in the old model.
    likeness : Likeness
    run : Parting or None
        A shortest run after which it differs, replayed.
    same_logic : bool
        It is the same function of the same signals and starts alike.
    on_new_plant : bool
        The run is one of the new plant, which the new controller drives.
    """

    output: str
    likeness: Likeness
    run: Parting | None = None
    same_logic: bool = False
    on_new_plant: bool = False


@dataclass(frozen=True)
class OnOnePlant:
    """Both controllers on the plant of one of the models.

    Attributes
    ----------
    product : Product
    engine : str
    n_states : int
        Reachable states of the product.
    n_moves : int or None
    depth : int or None
    limit : str or None
        The limit that cut the exploration short.
    found : mapping of str to OutputComparison
        By the output's name in the old model.
    """

    product: Product
    engine: str
    n_states: int
    n_moves: int | None
    depth: int | None
    limit: str | None
    found: Mapping[str, OutputComparison]


@dataclass(frozen=True)
class Behaviour:
    """What running both controllers in lockstep showed.

    Attributes
    ----------
    outputs : tuple of OutputComparison
        In the order of the old program.
    on_old : OnOnePlant
    on_new : OnOnePlant or None
        None where the plants are the same, or the controllers cannot run on the new one.
    not_on_new : str
        Why they cannot; empty where they can or need not.
    """

    outputs: tuple[OutputComparison, ...]
    on_old: OnOnePlant
    on_new: OnOnePlant | None = None
    not_on_new: str = ""

    @property
    def runs(self) -> tuple[OnOnePlant, ...]:
        """What was run: on the old plant, then on the new one where that was done."""
        return (self.on_old,) if self.on_new is None else (self.on_old, self.on_new)

    @property
    def product(self) -> Product:
        """Both controllers on the old plant."""
        return self.on_old.product

    @property
    def n_states(self) -> int:
        """Reachable states of the product on the old plant."""
        return self.on_old.n_states

    @property
    def limit(self) -> str | None:
        """The limit that cut one of the explorations short."""
        return next((run.limit for run in self.runs if run.limit is not None), None)

    @property
    def differing(self) -> tuple[str, ...]:
        """The outputs that differ."""
        return tuple(o.output for o in self.outputs if o.likeness is Likeness.DIFFERS)

    @property
    def is_equal(self) -> bool:
        """Whether every output that both have is equal over everything reachable."""
        return all(o.likeness is Likeness.EQUAL for o in self.outputs)

    @property
    def parts(self) -> bool:
        """Whether an output differs that moves a plant, so that the plants part."""
        return any(set(self.differing) & run.product.driving for run in self.runs)


def run_in_lockstep(
    old: Built,
    new: Built,
    engine: Engine,
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
) -> Behaviour:
    """Run the controllers of two models on the old one's plant, and on the new one's if it differs.

    Parameters
    ----------
    old, new : Built
        Both without faults.
    engine : Engine
    limits : Limits
        For each exploration.
    progress : callable, optional

    Raises
    ------
    NotApplicableError
        Where the controllers cannot run on the old plant.
    InternalError
        Where a difference does not replay on the programs themselves.
    """
    on_old = _on_plant(old, new, engine, limits, labelled(progress, "the old plant"))
    if same_plant(old, new):
        return Behaviour(tuple(on_old.found.values()), on_old)
    try:
        there = _on_plant(new, old, engine, limits, labelled(progress, "the new plant"))
    except NotApplicableError as reason:
        told = [
            replace(o, likeness=Likeness.OLD_PLANT) if o.likeness is Likeness.EQUAL else o
            for o in on_old.found.values()
        ]
        return Behaviour(tuple(told), on_old, not_on_new=str(reason))
    on_new = _turned(there)
    both = [_of_both(one, on_new.found[name]) for name, one in on_old.found.items()]
    return Behaviour(tuple(both), on_old, on_new)


def _on_plant(
    host: Built, guest: Built, engine: Engine, limits: Limits, progress: ProgressSink | None
) -> OnOnePlant:
    """Both controllers on the plant of `host`; outputs by its names."""
    product = both_on_one_plant(host, guest)
    queries = [Reach(condition) for condition in product.differs.values()]
    explored = engine.explore(product.system, queries, limits, progress)
    found = dict(zip(product.differs, explored.answers, strict=True))
    parts = any(answer.found for name, answer in found.items() if name in product.driving)
    outputs = {}
    for name, answer in found.items():
        same = product.differs[name] is FALSE
        if answer.witness is not None:
            run = replay_parting(host, guest, product, name, answer.witness)
            outputs[name] = OutputComparison(name, Likeness.DIFFERS, run)
        elif answer.found is None:
            outputs[name] = OutputComparison(name, Likeness.UNDECIDED, None, same)
        else:
            outputs[name] = OutputComparison(name, _likeness(parts, same), None, same)
    return OnOnePlant(
        product=product,
        engine=explored.engine,
        n_states=explored.n_states,
        n_moves=explored.n_moves,
        depth=explored.depth,
        limit=explored.limit,
        found=outputs,
    )


def _likeness(parts: bool, same_logic: bool) -> Likeness:
    """What it means that an output was never seen to differ on one plant."""
    if not parts:
        return Likeness.EQUAL
    return Likeness.SAME_LOGIC if same_logic else Likeness.ALIKE


def _turned(there: OnOnePlant) -> OnOnePlant:
    """What was found with the new model as the host, by the old model's names."""
    product, names = there.product, there.product.counterparts
    found = {}
    for name, one in there.found.items():
        run = one.run
        if run is not None:
            run = replace(
                run,
                output=names[name],
                before=run.after,
                after=run.before,
                decided=run.decided_by_old,
                decided_by_old=run.decided,
            )
        found[names[name]] = replace(one, output=names[name], run=run, on_new_plant=True)
    product = replace(
        product,
        differs={names[name]: condition for name, condition in product.differs.items()},
        driving=frozenset(names[name] for name in product.driving),
        counterparts={old: new for new, old in names.items()},
    )
    return replace(there, product=product, found=found)


def _of_both(on_old: OutputComparison, on_new: OutputComparison) -> OutputComparison:
    """What is known of an output that was compared on either plant."""
    for wanted in (Likeness.DIFFERS, Likeness.UNDECIDED):
        for one in (on_old, on_new):
            if one.likeness is wanted:
                return one
    same = on_old.same_logic and on_new.same_logic
    is_equal = on_old.likeness is on_new.likeness is Likeness.EQUAL
    return OutputComparison(on_old.output, _likeness(not is_equal, same), None, same)


def replay_parting(
    old: Built, new: Built, product: Product, output: str, witness: Witness
) -> Parting:
    """Replay a run of the product on both programs and check that the output differs behind it.

    Raises
    ------
    InternalError
        Where the programs do something else than the engine says.
    """
    pair = Lockstep(old.model, new.model, product.counterparts, product.timers)
    _same(output, product, witness, pair, 0)
    happenings: list[Happening] = []
    for number, step in enumerate(witness.steps, 1):
        parted = pair.differing() & product.driving
        if parted:
            raise InternalError(f"{output}: {min(parted)} differs before step {number}")
        happenings.append(pair.play(step.move))
        _same(output, product, witness, pair, number)
    values: Mapping[str, tuple[int, int]] = {n: (a, b) for n, a, b in pair.outputs()}
    before, after = values[output]
    if before == after:
        raise InternalError(f"{output}: the engine says that it differs, the replay that not")
    decided = pair.decided(output), pair.decided_by_old(output)
    return Parting(output, tuple(happenings), before, after, *decided)


def _same(output: str, product: Product, witness: Witness, pair: Lockstep, number: int) -> None:
    played = pair.state(NEW)
    for variable, value in zip(product.system.variables, witness.states[number], strict=True):
        if variable.name.startswith(TOGETHER):
            continue
        if played[variable.name] != value:
            show = variable.domain.show
            raise InternalError(
                f"{output}, step {number}: the engine says {variable.name} is {show(value)}, "
                f"the replay says {show(played[variable.name])}"
            )


def likeness_words(output: OutputComparison) -> str:
    """What is known of an output, in words."""
    if output.run is None:
        return output.likeness.value
    n = len(output.run.happenings)
    where = " on the new plant" if output.on_new_plant else ""
    if n == 0:
        return f"differs from power-up on{where}"
    return f"differs after {n} step{'s'[: n != 1]}{where}"
