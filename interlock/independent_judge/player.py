"""Playing moves on the source-level model: plant machines and the program's own interpreter.

Nothing of the lowering or of an engine is used here; names of moves and of variables are those
of the model, so the states can be compared with what an engine says.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from interlock.base.errors import InternalError, Mistake
from interlock.independent_judge.clocks import Clocks
from interlock.independent_judge.controllers import Executed
from interlock.independent_judge.effects import Effects
from interlock.independent_judge.happenings import Change, Happening
from interlock.independent_judge.late import Lateness
from interlock.independent_judge.machines import Plant
from interlock.independent_judge.programs import Programs
from interlock.independent_judge.remembered import Moment as Moment
from interlock.independent_judge.turns import TurnsTaken, events_of, is_limited
from interlock.independent_judge.values import Values, View, labelled
from interlock.kernel.system import Event, MoveKind, Origin
from interlock.model.build import fault_flag, held_value
from interlock.model.controller import STILL
from interlock.model.delayed_outputs import effect_in_words
from interlock.model.fault import Effect
from interlock.model.fault_kinds import Site
from interlock.model.model import Model, ModelMove
from interlock.model.old_values import late_in_words
from interlock.model.timing import TICK, Timing
from interlock.st.evaluate import evaluate_expression
from interlock.st.scans import ScanResult


class Player:
    """A model that can be played move by move.

    Parameters
    ----------
    model : Model
        Faults strike when their move is played; how many may is not limited here.

    Attributes
    ----------
    events : mapping of str to Origin
        What may happen at any moment, by the name of its move.
    led_by : str
        Name of the move that was made last; empty at power-up and where it went back.
    """

    def __init__(self, model: Model) -> None:
        self.model = model
        self._struck: dict[str, bool] = {}
        self._in_force: list[tuple[str, Effect]] = []
        self._put_in_force(dict.fromkeys(model.faults, False))
        self._ever: set[str] = set()
        self._held = {
            held_value(id_, effect.name): 0
            for id_, fault in model.faults.items()
            for effect in fault.effects
            if effect.kind.holds
        }
        self.programs = Programs(model)
        self._terms = {name.casefold(): formula for name, formula in model.terms.items()}
        named = (*model.machines, *model.faults, *model.outputs)
        self._folded = {name: name.casefold() for name in named}
        self._effects = Effects(model, self.given)
        self._view = View(lambda: Values(self._direct(), self._terms))
        self._plant = Plant(model, self._condition)
        self._moves = {move.name: move for move in model.moves}
        self.events = {origin.move_name: origin for origin in events_of(model)}
        self._turns = TurnsTaken(model)
        self._clocks = Clocks(model)
        self._late = Lateness(model, self.signals)
        self.led_by = ""
        if model.timing is not None:
            self._clocks.go_on("", self._under_way())

    def _condition(self, move: ModelMove) -> Callable[[], bool]:
        when = move.when
        if when is None:
            return lambda: True
        return lambda: bool(evaluate_expression(when.tree, self.truth))

    def _direct(self) -> dict[str, int]:
        found = self._plant.states() | self._struck | self.outputs()
        values = {self._folded[name]: int(value) for name, value in found.items()}
        return values | self.programs.inside()

    @property
    def truth(self) -> Mapping[str, int]:
        """The values of this moment by casefolded name; later moves do not change them."""
        return self._view.now()

    @property
    def controller(self) -> Executed:
        """The controller of a model with one."""
        return self.programs.only

    @controller.setter
    def controller(self, other: Executed) -> None:
        """Have another in its place."""
        self.programs.put_only(other)

    def reading(self) -> dict[str, float]:
        """What the programs' variables hold, inner ones too, by casefolded path."""
        return self.programs.reading()

    def outputs(self) -> dict[str, int]:
        """The outputs as they have taken effect at lamps and valves, faults included."""
        return self._effects.shown(self.given())

    def given(self) -> dict[str, int]:
        """What the outputs give now, faults included."""
        values = self.programs.values()
        return {name: self._through(values[name], name, Site.OUTPUT) for name in self.model.outputs}

    def struck(self) -> tuple[str, ...]:
        """Ids of the faults that have struck and not cleared."""
        return tuple(id_ for id_, now in self._struck.items() if now)

    def signals(self) -> dict[str, int]:
        """What every sensor gives now, by the declared name of its input."""
        found = {}
        truth = self.truth
        for name, sensor in self.model.sensors.items():
            reads = evaluate_expression(sensor.reads.tree, truth)
            found[name] = self._through(reads, name, Site.SIGNAL)
        return found

    def as_read(self) -> dict[str, int]:
        """What a scan would read now: what the sensors give, or gave where a signal is late."""
        return self._late.as_read(self.signals())

    def late(self) -> frozenset[str]:
        """The signals of which the next scan reads an older value."""
        return self._late.now.late

    def _through(self, value: int, name: str, site: Site) -> int:
        """`value` as the faults that have struck let it through."""
        for id_, effect in self._in_force:
            shows = effect.kind.shows
            if shows is not None and (effect.site, effect.name) == (site, name):
                value = shows[self._held[held_value(id_, name)] if effect.kind.holds else value]
        return value

    def _put_in_force(self, struck: Mapping[str, bool]) -> None:
        """Let these faults have struck and not cleared."""
        self._struck = dict(struck)
        self._in_force = [
            (id_, effect) for id_ in self.struck() for effect in self.model.faults[id_].effects
        ]

    def state(self) -> dict[str, int]:
        """Values by the names of the kernel's variables."""
        values = self.programs.values()
        values |= self._plant.states()
        for id_, struck in self._struck.items():
            values[fault_flag(id_)] = int(struck)
            values[f"{fault_flag(id_)}.ever"] = int(id_ in self._ever)
        values |= self._held | self._late.values() | self._effects.values()
        return values | self._turns.values() | self._clocks.values()

    def moment(self) -> Moment:
        """This state, to be given back to `go_back`."""
        return Moment(
            self._plant.states(),
            self.programs.exact_values(),
            dict(self._struck),
            frozenset(self._ever),
            dict(self._held),
            self._turns.now,
            self._clocks.ages,
            self._late.now,
            self._effects.now,
        )

    def go_back(self, moment: Moment) -> None:
        """Be in an earlier state again."""
        self._plant.put(moment.plant)
        self.programs.remember(moment.memory)
        self._put_in_force(moment.struck)
        self._ever = set(moment.ever)
        self._held = dict(moment.held)
        self._turns.now = moment.turns
        self._clocks.ages = moment.ages
        self._late.now = moment.given
        self._effects.now = moment.effective
        self.led_by = ""

    def ways_on(self, human: bool) -> list[str]:
        """What may happen now and can be counted on, or brought about: moves, the scan, timers.

        No fault strikes or clears, and no move of the plant is made that need not happen.

        Parameters
        ----------
        human : bool
            Whether human errors may happen.
        """
        chosen = [
            name
            for name, move in self._moves.items()
            if not move.may and (human or move.kind is not MoveKind.HUMAN)
        ]
        with self._view.unchanged():
            ticks = [TICK] if self.may_time_pass() else []
            return [*self._by_itself(), *ticks, *filter(self.enabled, chosen)]

    def owed(self) -> list[str]:
        """What must happen in the end if it stays possible: plant moves, timers, scan and time."""
        plant = [n for n, m in self._moves.items() if m.kind is MoveKind.PLANT and not m.may]
        with self._view.unchanged():
            ripe = filter(self._clocks.is_ripe, plant)
            is_time_owed = self._clocks.may_pass() and self._effects.is_time_owed()
            ticks = [TICK] if is_time_owed else []
            return [*self._by_itself(), *ticks, *filter(self.possible, ripe)]

    def _by_itself(self) -> Iterator[str]:
        yield from filter(self._clocks.is_ripe, self._by_the_controller())
        effects = (n for n, origin in self.events.items() if origin.event is Event.EFFECT)
        yield from (name for name in effects if not self.why_not_late(name))

    def _by_the_controller(self) -> Iterator[str]:
        yield from filter(self.may_scan, self.programs.scans)
        yield from (Origin.elapse(t).move_name for t in self.programs.running_timers())

    def may_scan(self, scan: str) -> bool:
        """Whether the controller of a scan scans at all now."""
        condition = self.programs.scans[scan].scans_while
        return condition is None or bool(evaluate_expression(condition, self.truth))

    def scanned_by(self) -> str:
        """The controller whose scan led here; empty where anything else did."""
        scan = self._turns.scan_led_here
        return self.programs.scans[scan].name if scan else ""

    def defects_next(self) -> list[Mistake]:
        """What the next scan of some controller does that none should."""
        read, scans = self.as_read(), filter(self.may_scan, self.programs.scans)
        return [defect for scan in scans for defect in self.programs.defects(scan, read)]

    def enabled(self, move: str) -> bool:
        """Whether the plant would let the move called `move` happen now."""
        return not self.waits_for_scan(move) and self.possible(move) and self._clocks.is_ripe(move)

    def waits_for_scan(self, move: str) -> bool:
        """Whether a scan must come before the move called `move`, its own condition apart."""
        asked = self._moves[move]
        if not is_limited(asked, self.model) or self._turns.has_one(asked.machine):
            return False
        # Where nobody scans any more nothing waits for a scan.
        return any(map(self.may_scan, self.programs.scans))

    def possible(self, move: str) -> bool:
        """Whether the move's own condition holds now, a scan being due or not."""
        asked = self._moves[move]
        return self._plant.enabled(asked) and not self._jammed(asked.machine)

    def _jammed(self, machine: str) -> bool:
        state = self._plant.states()[machine]
        return any(
            effect.kind.blocks
            and effect.name == machine
            and (not effect.states or state in effect.states)
            for _, effect in self._in_force
        )

    def play(self, move: str) -> Happening:
        """Play one move or scan.

        Raises
        ------
        InternalError
            Where the model does not allow it.
        """
        before, given = self.shown(), self._effects.now
        kind, says, scan = self.take(move)
        after = self.shown()
        changes = [Change(n, before[n], after[n]) for n in after if before[n] != after[n]]
        origin, ordered = self.events.get(move), self._effects.ordered_since(given)
        return Happening(move, kind, says, tuple(changes), scan, origin, ordered)

    def take(self, move: str) -> tuple[MoveKind, str, ScanResult | None]:
        """As `play`, without a look at what changes: the kind, the words, what a scan did."""
        scan, origin, self.led_by = None, self.events.get(move), move
        if move == TICK and self.model.timing is not None:
            return self._pass_time(self.model.timing)
        if not self._clocks.is_ripe(move):
            raise InternalError(f"replay refuses '{move}': it takes more time")
        stood = self._plant.where(self._clocks.keeping)
        if move == STILL:
            if any(map(self.may_scan, self.programs.scans)):
                raise InternalError("replay refuses that nothing happens: somebody scans")
            kind, says = MoveKind.PLANT, move
            self._turns.disturb()
        elif move in self.programs.scans:
            older = self._late.in_words(move)
            scan = self._scan(move)
            kind, says = MoveKind.SCAN, self.programs.scans[move].says + older
        elif (made := self._moves.get(move)) is not None:
            takes_turn = is_limited(made, self.model)
            if takes_turn and self.waits_for_scan(move):
                raise InternalError(f"replay refuses '{move}': a scan is due first")
            kind, says = self._make(made)
            self._turns.take(made.machine) if takes_turn else self._turns.disturb()
        elif origin is not None:
            kind, says = self._let_happen(origin)
            self._turns.disturb()
        else:
            raise InternalError(f"replay refuses '{move}': no such move or timer")
        self._effects.note()
        self._clocks.go_on(move, self._under_way(), self._plant.left(stood))
        self._late.note()
        return kind, says, scan

    def _scan(self, scan: str) -> ScanResult:
        if not self.may_scan(scan):
            raise InternalError(f"replay refuses '{scan}': this controller does not scan now")
        given = self.signals()
        result = self.programs.scan(scan, self._late.as_read(given))
        self._turns.begin_anew(scan)
        self._late.begin_anew(scan, given)
        return result

    def _pass_time(self, timing: Timing) -> tuple[MoveKind, str, None]:
        if not self.may_time_pass():
            raise InternalError("replay refuses that time passes: something must happen before")
        self._turns.disturb()
        self._effects.pass_time()
        self._clocks.go_on(TICK, self._under_way())
        self._late.pass_time()
        return MoveKind.TIME, f"{timing.unit_ms} ms pass", None

    def may_time_pass(self) -> bool:
        """Whether a unit of time may pass now; without time never."""
        return self._clocks.may_pass() and not self._effects.due()

    def why_not_in_time(self, move: str) -> str:
        """Why the time for `move` has not come; empty where time is no reason."""
        return self._clocks.why_not(move) or self._effects.why_not_pass(move)

    def _under_way(self) -> list[str]:
        """What happens by itself, or may, unless something stops it before its time has come."""
        names = self._clocks.names
        found = [name for name in self._by_the_controller() if name in names]
        with self._view.unchanged():
            found += [n for n in self._moves if n in names and self.possible(n)]
            return found + self._clocks.stays(self.truth)

    def pass_event(self) -> None:
        """Note an event that changes nothing here, as where another's timer ends."""
        self._turns.disturb()

    def _make(self, move: ModelMove) -> tuple[MoveKind, str]:
        if self._jammed(move.machine):
            raise InternalError(f"replay refuses '{move.name}': a fault keeps {move.machine}")
        carried = {n: formula for n, formula in move.also.items() if not self._jammed(n)}
        truth = self.truth if carried else {}
        also = {n: evaluate_expression(formula.tree, truth) for n, formula in carried.items()}
        self._plant.make(move, also)
        return move.kind, move.says

    def _let_happen(self, origin: Origin) -> tuple[MoveKind, str]:
        """What takes no turn: a strike, a clearing, the end of a timer, a signal that is late."""
        if why := self.why_not_late(origin.move_name):
            raise InternalError(f"replay refuses '{origin.move_name}': {why}")
        match origin.event:
            case Event.STRIKE:
                return self._strike(origin.of)
            case Event.CLEARING:
                return self._clear(origin.of)
            case Event.DELAY:
                self._late.delay(origin.of)
                return MoveKind.BUS, late_in_words(origin.of)
            case Event.EFFECT | Event.LAG:
                self._effects.make(origin)
                return MoveKind.EFFECT, effect_in_words(origin)
        try:
            self.programs.elapse(origin.of)
        except (KeyError, ValueError):
            raise InternalError(f"replay refuses '{origin.move_name}': it does not run") from None
        return MoveKind.TIMER, f"the time of {origin.of} is up"

    def why_not_late(self, move: str) -> str:
        """Why a signal cannot be late, or an output take effect; empty where a move lets it."""
        origin = self.events.get(move)
        if origin is None or origin.event not in (Event.DELAY, Event.EFFECT, Event.LAG):
            return ""
        is_signal = origin.event is Event.DELAY
        return self._late.why_not(origin.of) if is_signal else self._effects.why_not(origin)

    def _strike(self, id_: str) -> tuple[MoveKind, str]:
        fault = self.model.faults[id_]
        if self._struck[id_]:
            raise InternalError(f"replay refuses fault '{id_}': it struck before")
        now = {**self.signals(), **self.given()}
        for effect in fault.effects:
            if effect.kind.holds:
                self._held[held_value(id_, effect.name)] = now[effect.name]
            if effect.kind.restarts:
                self.programs.restart(effect.name)
        self._put_in_force({**self._struck, id_: True})
        self._ever.add(id_)
        return MoveKind.FAULT, fault.says

    def _clear(self, id_: str) -> tuple[MoveKind, str]:
        if not self.model.faults[id_].intermittent or not self._struck[id_]:
            raise InternalError(f"replay refuses '{id_} clears'")
        self._put_in_force({**self._struck, id_: False})
        return MoveKind.FAULT, "it clears again"

    def seen(self) -> dict[str, int | str]:
        """As `shown`, with the faults that have struck: what a picture of the state needs."""
        return {**self.shown(), **dict.fromkeys(self.struck(), 1)}

    def shown(self) -> dict[str, str]:
        """Machines, controls and outputs as labels, by name."""
        return labelled(self.model, self._plant.states(), self.outputs())
