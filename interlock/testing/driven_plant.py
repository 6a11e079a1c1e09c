"""A model's plant driven by a controller that is not the model's own program.

The plant moves and the signals are those of the model; the outputs are those of the controller
under test. The model's program reads the same signals in lockstep, so that any other output is
seen in the scan in which it first differs. Requirements are watched by observers, step by step; a
run that failed is then judged on the independent machine.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from interlock.base.errors import InternalError
from interlock.commands.rehearse.successors import World
from interlock.independent_judge.judge import Observed, Replayed, observe
from interlock.independent_judge.player import Player
from interlock.independent_judge.run_file import RunFile, source_hashes, violates
from interlock.independent_judge.story import tell_to_the_end
from interlock.kernel.evaluate import State, python_function
from interlock.kernel.expr import Expr, and_
from interlock.kernel.query import Reach, Stay
from interlock.kernel.system import Move, MoveKind, Origin
from interlock.model.build import ARITHMETIC, SCAN, Built
from interlock.model.model import Model
from interlock.st.interpret import Controller
from interlock.st.layout import Timers, lay_out
from interlock.st.scans import ScanResult
from interlock.testing.clock import Clock
from interlock.testing.controllers import ControllerError, ControllerUnderTest, Terminals, value_of


class ControllerFailure(AssertionError):  # noqa: N818 - the names say what was found
    """What a run shows of the controller under test.

    Attributes
    ----------
    name : str
        A short name for files.
    says : str
    run : tuple of str
        The moves, from power-up on.
    """

    def __init__(self, name: str, says: str, run: Sequence[str], story: Callable[[], str]) -> None:
        super().__init__(says)
        self.name, self.says, self.run = name, says, tuple(run)
        self._story = story

    def __str__(self) -> str:
        # Told only where somebody reads it: shrinking fails hundreds of times on the way.
        return f"{self.says}\n{self._story()}"


class Violated(ControllerFailure):
    """A requirement is violated, however the run goes on."""


class Differs(ControllerFailure):
    """An output is not what the model's own program gives."""


class Unanswered(ControllerFailure):
    """What is owed did not come in so many scans, although nobody acted."""


class Faulty(ControllerFailure):
    """The controller did not answer as it should."""


@dataclass(frozen=True)
class _Watched:
    """A requirement that a run can violate."""

    id: str
    says: str


class DrivenPlant:
    """One model, one controller, one run after the other.

    Parameters
    ----------
    built : Built
        With the faults that may strike.
    controller : ControllerUnderTest
    left_alone_scans : int
        For so many scans nobody acts when a response is waited for.
    like_program : bool
        Whether every output must be what the model's program gives.

    Raises
    ------
    ControllerError
        Where the model has timers and the controller no ``pass_time``, or where the program may be
        restarted and retains values and the controller has no ``restart``.
    """

    def __init__(
        self,
        built: Built,
        controller: ControllerUnderTest,
        left_alone_scans: int = 40,
        like_program: bool = True,
    ) -> None:
        self.built, self.model = built, built.model
        self.controller = controller
        self.terminals = Terminals(built.model)
        self.world = World(built)
        self.system = self.world.system
        self.left_alone_scans, self.like_program = left_alone_scans, like_program
        self.moves: list[Move] = [m for m in self.system.moves if m.kind is not MoveKind.SCAN]
        self._scan = self.system.move(SCAN)
        self._numbers = {move.name: n for n, move in enumerate(self.moves)}
        self._presets = {i.name: i.preset_ms for i in built.model.program.instances}
        self._restarts = {move.name for move in self.moves if self._is_restart(move)}
        self._retains = bool(lay_out(self.model.program, self.model.settings).retained)
        self._inputs = source_hashes(self.model)
        if any(self._presets.values()) and not hasattr(controller, "pass_time"):
            raise ControllerError("the model has timers: the controller needs pass_time(ms)")
        if self._restarts and self._retains and not hasattr(controller, "restart"):
            said = "the model's program retains values over a restart: the controller needs"
            raise ControllerError(f"{said} restart()")
        index = self.system.index
        self._guards = python_function([m.guard for m in self.moves], index)
        names = list(self.terminals.inputs)
        self._names = names
        self._signals = python_function([built.read[n.casefold()] for n in names], index)
        self._conditions = python_function(self._watch(), index)
        self._judged_guards: State | None = None  # the state that `_holding` was computed in
        self._holding: tuple[int, ...] = ()
        self.reset()

    def _is_restart(self, move: Move) -> bool:
        struck = None if move.origin is None else move.origin.struck
        return struck is not None and self.model.faults[struck].restart

    def _watch(self) -> list[Expr]:
        self.safety: list[_Watched] = []
        self.responses: list[_Watched] = []
        bad: list[Expr] = []
        owed: list[Expr] = []
        for breach in self.world.breaches:
            requirement = breach.question.requirement
            if requirement.id == ARITHMETIC:
                continue  # of the model's own program; a controller under test has its own words
            watched = _Watched(requirement.id, requirement.says)
            if isinstance(breach.query, Reach):
                self.safety.append(watched)
                bad.append(breach.query.target)
            elif isinstance(breach.query, Stay):
                self.responses.append(watched)
                owed += [and_(breach.query.start, breach.query.stay), breach.query.stay]
        judged = {w.id for w in (*self.safety, *self.responses)}
        self.unjudged = [
            id_ for id_ in self.built.requirements if id_ not in judged and id_ != ARITHMETIC
        ]
        return [*bad, *owed]

    def reset(self) -> None:
        """Begin a new run at power-up."""
        self.run: list[str] = []
        self.recorded: list[dict[str, int]] = []
        self.difference: str | None = None
        self.state: State = self.system.initial
        self._pending: set[int] = set()
        self.reference = Controller(self.model.program, self.model.settings)
        self._clock = Clock(self._presets, self.model.settings.scan_ms)
        self._n_waiting = 0
        self._asked(self.controller.reset)
        self.scan()

    def _asked(self, what: Callable[..., Any], *arguments: Any) -> Any:
        try:
            return what(*arguments)
        except ControllerFailure:
            raise
        # Whatever goes wrong in it is what is to be told of it.
        except Exception as error:
            said = str(error) if isinstance(error, ControllerError) else _named(error)
            raise Faulty("faulty", said, self.run, self.story()) from error

    def can(self, move: str) -> bool:
        """Whether `move` can be made now."""
        if self._judged_guards is not self.state:
            self._judged_guards, self._holding = self.state, self._guards(self.state)
        return bool(self._holding[self._numbers[move]])

    @property
    def scan_is_due(self) -> bool:
        """Whether nothing can move before the next scan."""
        return self.state[self.world.phase] == self.world.due

    def play(self, run: Sequence[str]) -> int:
        """Play the moves of a run as far as they are possible; how many were made."""
        for number, name in enumerate(run):
            if name == SCAN:
                self.scan()
            elif self.can(name):
                self._move(name)
            else:
                return number
        if self.scan_is_due:
            self.scan()
        return len(run)

    def make(self, name: str, *, scan_waits: bool = False) -> None:
        """Make a move, and a scan behind it; it waits only where more may come before it."""
        self._move(name)
        is_wanted = self.scan_is_due if scan_waits else bool(self.state[self.world.phase])
        if is_wanted:
            self.scan()

    def _move(self, name: str) -> None:
        move = self.moves[self._numbers[name]]
        if move.kind is MoveKind.TIMER:
            assert move.origin is not None
            self._elapse(move.origin.of)
            return
        self.run.append(name)
        self.state = self.world.stepper.after(self.state, move)
        if name in self._restarts:
            # Where nothing is retained, a restart is like the first power-up.
            again = getattr(self.controller, "restart" if self._retains else "reset")
            self._asked(again)
            self.reference.restart()
            self._clock.follow(self.reference.running_timers())
        self._check()

    @property
    def can_wait(self) -> bool:
        """Whether a timer is running that is not nearly up."""
        return self._clock.is_early

    def wait(self) -> None:
        """Let time pass, and scans come, until a timer is nearly up."""
        while self._clock.is_early:
            self._let_pass(self._clock.step())
            self._scan_waiting()

    def _elapse(self, timer: str) -> None:
        """Time passes until `timer` is up, unless a scan on the way stops it.

        Others that are up before it elapse on the way, by moves of their own.
        """
        while self._clock.is_running(timer):
            self._let_pass(self._clock.step())
            if self._clock.is_running(timer):
                self._scan_waiting()

    def _scan_waiting(self) -> None:
        self._n_waiting += 1
        self.scan()

    def _let_pass(self, ms: int) -> None:
        self._asked(self.controller.pass_time, ms)  # type: ignore[attr-defined]
        for name in self._clock.let_pass(ms):
            self.reference.elapse(name)
            move = self.system.event(Origin.elapse(name))
            self.run.append(move.name)
            self.state = self.world.stepper.after(self.state, move)
            self._check()

    def _memory(self) -> dict[str, int]:
        return {n: v for n, v in self.reference.memory().items() if n in self.system.index}

    def _take(self, values: Mapping[str, int]) -> None:
        state = list(self.state)
        for name, value in values.items():
            state[self.system.index[name]] = value
        self.state = tuple(state)

    def scan(self) -> None:
        """Let the controller under test, and the model's program beside it, scan once."""
        signals = dict(zip(self._names, self._signals(self.state), strict=True))
        if self.model.settings.timers is Timers.COUNTED and hasattr(self.controller, "pass_time"):
            self._asked(self.controller.pass_time, self.model.settings.scan_ms)
        answer = self._asked(self.controller.scan, self.terminals.given(signals))
        outputs: dict[str, int] = self._asked(self.terminals.taken, answer)
        expected = self.reference.scan(signals).outputs
        self.run.append(SCAN)
        self.recorded.append(outputs)
        self.state = self.world.stepper.after(self.state, self._scan)
        known = {n: v for n, v in outputs.items() if n in self.system.index}
        self._take({**self._memory(), **known})
        self._clock.follow(self.reference.running_timers())
        if self.like_program and self.difference is None and outputs != expected:
            self.difference = self._difference(outputs, expected)
            self.n_until_difference = len(self.run)
        self._check()

    def _difference(self, outputs: Mapping[str, int], expected: Mapping[str, int]) -> str:
        said = []
        for name, type_ in self.terminals.outputs.items():
            if outputs[name] != expected[name]:
                given, wanted = value_of(outputs[name], type_), value_of(expected[name], type_)
                said.append(f"{name} is {given}, the model's program gives {wanted}")
        return "; ".join(said)

    def _check(self) -> None:
        found = self._conditions(self.state)
        n = len(self.safety)
        for watched, bad in zip(self.safety, found[:n], strict=True):
            if bad:
                says = f"{watched.id} violated: {watched.says}"
                raise Violated(f"violates-{watched.id}", says, self.run, self.story(watched.id))
        for number in range(len(self.responses)):
            started, stays = found[n + 2 * number : n + 2 * number + 2]
            if not stays:
                self._pending.discard(number)
            elif started:
                self._pending.add(number)

    @property
    def _n_turns(self) -> int:
        """Scans so far, without those in which nothing but a timer was waited for."""
        return len(self.recorded) - self._n_waiting

    def leave_alone(self) -> None:
        """Let the plant, the timers and the controller go on with nobody acting.

        Plant moves take turns, so that none that stays possible is passed over for ever.

        Raises
        ------
        Unanswered
            Where a response that was owed did not come in all that time.
        """
        unattended = [m.name for m in self.moves if m.kind in (MoveKind.PLANT, MoveKind.TIMER)]
        turn, before, owed = 0, self._n_turns, set(self._pending)
        while self._n_turns - before < self.left_alone_scans:
            possible = [n for n in range(len(unattended)) if self.can(unattended[n])]
            if possible:
                chosen = min(possible, key=lambda n: (n - turn) % len(unattended))
                self.make(unattended[chosen])
                turn = chosen + 1
            else:
                last = self.state
                self.scan()
                if self.state == last and not owed:
                    return
            owed &= self._pending
        if not owed:
            return
        watched = self.responses[min(owed)]
        says = (
            f"{watched.id} not answered within {self.left_alone_scans} scans in which nobody "
            f"acted: {watched.says}"
        )
        raise Unanswered(f"unanswered-{watched.id}", says, self.run, self.story())

    def end(self) -> None:
        """Tell the first difference from the model's program, if there was any.

        Raises
        ------
        Differs
        """
        if self.difference is not None:
            run = self.run[: self.n_until_difference]
            raise Differs("differs", self.difference, run, self.story(run=run))

    def story(
        self, refuted: str | None = None, run: Sequence[str] | None = None
    ) -> Callable[[], str]:
        """How to tell the run, played on the independent machine; told when it is called."""
        played = tuple(self.run if run is None else run)
        answers = tuple(self.recorded)
        return lambda: self._tell(played, answers, refuted)

    def run_file(self, failure: ControllerFailure) -> RunFile:
        """The failed run as a run file of the model.

        Replayed, it runs the model's own program; where that allows no more of it, the replay
        tells the move.
        """
        model, says = self.model, failure.says
        return RunFile(model.name, model.title, failure.run, says=says, inputs=self._inputs)

    def _tell(
        self, run: Sequence[str], answers: Sequence[Mapping[str, int]], refuted: str | None
    ) -> str:
        player = Player(self.model)
        player.controller = _Recorded(self.model, answers)
        statement = self.model.statements.get(refuted or "")
        seen: list[Observed] = [observe(player, statement)]
        happenings = []
        for move in run:
            happenings.append(player.play(move))
            seen.append(observe(player, statement))
        if statement is not None and not violates(statement, seen, None):
            raise InternalError(f"{refuted}: the observer says violated, the replay does not")
        lines = tell_to_the_end(self.model, Replayed(tuple(happenings), None))
        return "\n".join(
            f"{line.number:4}  {line.who}: {line.says}"
            + (f"  [{', '.join(line.changes)}]" if line.changes else "")
            for line in lines
        )


def _named(error: Exception) -> str:
    return f"the controller raised {type(error).__name__}: {error}"


class _Recorded(Controller):
    """A controller that gives again what another one gave."""

    def __init__(self, model: Model, answers: Sequence[Mapping[str, int]]) -> None:
        super().__init__(model.program, model.settings)
        self._answers = iter(answers)

    def scan(self, inputs: Mapping[str, int]) -> ScanResult:
        own = super().scan(inputs)
        outputs = dict(next(self._answers))
        self.load(outputs)
        return ScanResult(outputs, (), own.executed, ())
