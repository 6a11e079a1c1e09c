"""A Hypothesis state machine that drives a controller of one's own; the only door to hypothesis.

The rules are the moves of the model: of the plant, of people, of timers and of faults. Behind
each the controller scans, or waits where the model lets more come before a scan. What such a test
does not find is not found; it verifies nothing.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, event, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule

from interlock.independent_judge.run_file import write_run
from interlock.judgement.engines import available
from interlock.kernel.system import MoveKind
from interlock.model.build import SCAN, RunClass, build
from interlock.model.declined import UNTIMED, decline
from interlock.model.load import load
from interlock.model.model import Model
from interlock.testing.controllers import ControllerUnderTest
from interlock.testing.deep_runs import Seed, find_seeds
from interlock.testing.driven_plant import ControllerFailure, DrivenPlant


@dataclass
class Tally:
    """What the runs of one machine did.

    Attributes
    ----------
    n_runs, n_moves, n_scans : int
    rules : Counter of str
        How often each rule was chosen, by the move that it makes or by its name.
    moves : Counter of str
        How often each move was made: by a rule, in a seed or while everything was left alone.
    n_seeded : int
        Runs that began with a seed.
    failures : dict of str to str
        By a short name: what the last, and so the shrunk, failure of this sort says.
    """

    n_runs: int = 0
    n_moves: int = 0
    n_scans: int = 0
    n_seeded: int = 0
    rules: Counter[str] = field(default_factory=Counter)
    moves: Counter[str] = field(default_factory=Counter)
    failures: dict[str, str] = field(default_factory=dict)


class ControllerMachine(RuleBasedStateMachine):
    """What the machines made by `machine_for` have in common."""

    plant: DrivenPlant
    tally: Tally
    seeds: tuple[Seed, ...]
    save_to: Path | None

    def __init__(self) -> None:
        super().__init__()
        self._failed = False
        with self._told():
            self.plant.reset()

    @contextmanager
    def _told(self) -> Iterator[None]:
        """Keep and save a failure; of a shrunk example the last one is the shortest."""
        try:
            yield
        except ControllerFailure as failure:
            self._failed = True
            self.tally.failures[failure.name] = failure.says
            if self.save_to is not None:
                file = self.save_to / f"{failure.name}.json"
                write_run(file, self.plant.run_file(failure))
            raise

    def teardown(self) -> None:
        """Count the run, and tell a difference from the model's program."""
        tally = self.tally
        tally.n_runs += 1
        tally.n_scans += len(self.plant.recorded)
        made = [name for name in self.plant.run if name != SCAN]
        tally.n_moves += len(made)
        tally.moves.update(made)
        if not self._failed:
            with self._told():
                self.plant.end()

    @classmethod
    def report(cls) -> str:
        """What was watched and done and found, in words that claim no more."""
        plant, tally = cls.plant, cls.tally
        watched = dict.fromkeys(w.id for w in (*plant.safety, *plant.responses))
        lines = [
            f"{plant.model.name}: {len(watched)} requirements watched; "
            f"{tally.n_runs:,} runs, {tally.n_moves:,} moves, {tally.n_scans:,} scans; "
            f"{tally.n_seeded:,} runs began with one of {len(cls.seeds)} runs to deep states",
        ]
        if tally.failures:
            lines += [f"found: {says}" for says in tally.failures.values()]
        else:
            lines.append(
                f"no violation and no difference found in {tally.n_runs:,} runs; that is no proof"
            )
        if plant.unjudged:
            lines.append("no run can judge: " + ", ".join(plant.unjudged))
        counts = [f"{name} {count:,}" for name, count in sorted(tally.rules.items())]
        never = [m.name for m in plant.moves if not tally.moves[m.name]]
        lines.append("rules: " + ("; ".join(counts) or "none"))
        if never:
            lines.append("moves never made: " + "; ".join(never))
        return "\n".join(lines)


def machine_for(
    model: Model | Path | str,
    controller: ControllerUnderTest,
    *,
    faults: int = 0,
    seeds: Sequence[Seed] | None = None,
    left_alone_scans: int = 40,
    like_program: bool = True,
    save_to: Path | str | None = None,
) -> type[ControllerMachine]:
    """Build a Hypothesis state machine that drives `controller` against the plant of `model`.

    Parameters
    ----------
    model : Model or path
    controller : ControllerUnderTest
        Any object with ``reset()`` and ``scan(inputs)``; see `interlock.testing.controllers`.
    faults : int
        So many independent component faults may strike in a run.
    seeds : sequence of Seed, optional
        Runs to begin with; by default an engine finds those that reach deep states.
    left_alone_scans : int
        A response counts as missing after so many scans in which nobody acted.
    like_program : bool
        Whether any output that differs from what the model's program gives is a failure, too.
    save_to : path, optional
        Folder for a run file of each sort of failure.

    Returns
    -------
    type of ControllerMachine
        Its ``TestCase`` is a test for pytest or unittest; `ControllerMachine.report` tells what
        was done.

    Raises
    ------
    InputError
        Where the model cannot be used, as with time or several controllers.
    ControllerError
        Where the model has timers and the controller no ``pass_time``, or where the program may be
        restarted and retains values and the controller has no ``restart``.
    """
    loaded = model if isinstance(model, Model) else load(Path(model))
    decline("a controller of one's own", loaded, *UNTIMED)
    independent = loaded.independent_faults
    healthy = build(loaded)
    built = build(loaded, RunClass(independent, faults)) if faults else healthy
    if seeds is None:
        seeds = find_seeds(healthy, available()["auto"]())
    plant = DrivenPlant(built, controller, left_alone_scans, like_program)
    members: dict[str, Any] = {
        "plant": plant,
        "tally": Tally(),
        "seeds": tuple(seeds),
        "save_to": None if save_to is None else Path(save_to),
        "scan": rule()(_scan),
        "left_alone": rule()(_left_alone),
    }
    if any(move.kind is MoveKind.TIMER for move in plant.moves):
        members["time_passes"] = precondition(lambda self: self.plant.can_wait)(rule()(_wait))
    if seeds:
        longest = max(map(len, seeds))
        start = initialize(number=st.integers(0, len(seeds)), length=st.integers(0, longest))
        members["start"] = start(_start)
    used = set(members)
    for move in plant.moves:
        members[_identifier(move.name, used)] = _rule_of(move.name)
    made: type[ControllerMachine] = type(f"Controller_{loaded.name}", (ControllerMachine,), members)
    made.TestCase.settings = settings(
        max_examples=100,
        stateful_step_count=25,
        deadline=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
    )
    return made


def _start(self: ControllerMachine, number: int, length: int) -> None:
    """Begin with the first moves of a run to a deep state; number 0 begins at power-up."""
    if number == 0 or length == 0:
        return
    self.tally.n_seeded += 1
    self.tally.rules["(run to a deep state)"] += 1
    with self._told():
        # Every run was switched on and scanned once by now.
        self.plant.play(self.seeds[number - 1][1:length])


def _scan(self: ControllerMachine) -> None:
    """A scan although nothing moved."""
    self.tally.rules["(scan)"] += 1
    with self._told():
        self.plant.scan()


def _wait(self: ControllerMachine) -> None:
    """Time passes until a timer is nearly up; what comes next may come at that very moment."""
    self.tally.rules["(time passes)"] += 1
    with self._told():
        self.plant.wait()


def _left_alone(self: ControllerMachine) -> None:
    """Nobody acts until everything has come to rest."""
    self.tally.rules["(left alone)"] += 1
    with self._told():
        self.plant.leave_alone()


def _rule_of(name: str) -> Any:
    def make(self: ControllerMachine, scan_waits: bool) -> None:
        self.tally.rules[name] += 1
        event(f"move: {name}")
        with self._told():
            self.plant.make(name, scan_waits=scan_waits)

    make.__doc__ = name
    possible: Callable[[ControllerMachine], bool] = lambda self: self.plant.can(name)  # noqa: E731
    return precondition(possible)(rule(scan_waits=st.booleans())(make))


def _identifier(name: str, used: set[str]) -> str:
    """A name that Python takes, such as ``ramp_stowed_to_between``, and that is not used yet."""
    word = re.sub(r"\W+", "_", name).strip("_")
    word = f"move_{word}" if not word.isidentifier() or word in used else word
    found, number = word, 1
    while found in used or hasattr(ControllerMachine, found):
        number += 1
        found = f"{word}_{number}"
    used.add(found)
    return found
