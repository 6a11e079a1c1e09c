"""Behaviour: where two controllers that scan one plant first differ, output by output."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from interlock.base.errors import InternalError
from interlock.commands.compare.product import NEW, TOGETHER, Product, both_on_one_plant
from interlock.independent_judge.lockstep import Lockstep, Parting
from interlock.independent_judge.player import Happening
from interlock.kernel.expr import FALSE
from interlock.kernel.query import Engine, Limits, ProgressSink, Reach
from interlock.kernel.witness import Witness
from interlock.model.build import Built


class Likeness(Enum):
    """What is known of an output that both controllers have."""

    DIFFERS = "differs"
    EQUAL = "equal over everything reachable"
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
    """

    output: str
    likeness: Likeness
    run: Parting | None = None


@dataclass(frozen=True)
class Behaviour:
    """What running both controllers in lockstep showed.

    Attributes
    ----------
    product : Product
    outputs : tuple of OutputComparison
        In the order of the old program.
    engine : str
    n_states : int
        Reachable states of the product.
    n_moves : int or None
    depth : int or None
    limit : str or None
        The limit that cut the exploration short.
    """

    product: Product
    outputs: tuple[OutputComparison, ...]
    engine: str
    n_states: int
    n_moves: int | None
    depth: int | None
    limit: str | None

    @property
    def differing(self) -> tuple[str, ...]:
        """The outputs that differ."""
        return tuple(o.output for o in self.outputs if o.likeness is Likeness.DIFFERS)

    @property
    def is_equal(self) -> bool:
        """Whether every output that both have is equal over everything reachable."""
        return all(o.likeness is Likeness.EQUAL for o in self.outputs)


def run_in_lockstep(
    old: Built,
    new: Built,
    engine: Engine,
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
) -> Behaviour:
    """Run the controllers of two models on the old one's plant.

    Parameters
    ----------
    old, new : Built
        Both without faults.
    engine : Engine
    limits : Limits
    progress : callable, optional

    Raises
    ------
    NotApplicableError
        Where the controllers cannot run on one plant.
    InternalError
        Where a difference does not replay on the programs themselves.
    """
    product = both_on_one_plant(old, new)
    queries = [Reach(condition) for condition in product.differs.values()]
    explored = engine.explore(product.system, queries, limits, progress)
    found = dict(zip(product.differs, explored.answers, strict=True))
    parts = any(answer.found for name, answer in found.items() if name in product.driving)
    outputs = []
    for name, answer in found.items():
        if answer.witness is not None:
            run = replay_parting(old, new, product, name, answer.witness)
            outputs.append(OutputComparison(name, Likeness.DIFFERS, run))
        elif answer.found is None:
            outputs.append(OutputComparison(name, Likeness.UNDECIDED))
        else:
            outputs.append(OutputComparison(name, _likeness(product, name, parts)))
    return Behaviour(
        product=product,
        outputs=tuple(outputs),
        engine=explored.engine,
        n_states=explored.n_states,
        n_moves=explored.n_moves,
        depth=explored.depth,
        limit=explored.limit,
    )


def _likeness(product: Product, output: str, parts: bool) -> Likeness:
    """What it means that an output was never seen to differ."""
    if not parts:
        return Likeness.EQUAL
    return Likeness.SAME_LOGIC if product.differs[output] is FALSE else Likeness.ALIKE


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
    return Parting(output, tuple(happenings), before, after, pair.decided(output))


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
