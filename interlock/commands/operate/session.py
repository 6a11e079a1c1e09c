"""One user's run on a bench: what was done so far, where one stands in it, and what comes next.

Nothing here knows of the web. A run begins at power-up; the first scan comes before the first
move. Where a scan is due before a move, it is made first. In a model with time whatever happens by
itself happens as soon as it may, and time passes where nothing else does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from interlock.commands.operate.bench import Bench
from interlock.commands.operate.listing import Scanned
from interlock.commands.operate.passing import BY_ITSELF, seconds
from interlock.commands.rehearse.why import Reason
from interlock.kernel.evaluate import State
from interlock.kernel.system import MoveKind
from interlock.model.build import SCAN
from interlock.model.timing import TICK

# A run is saved and confirmed by replaying it, which takes some milliseconds a step.
MAX_STEPS = 10_000
# So much that nobody sees is passed over at once; then the page is shown how far it is.
_UNSEEN_AT_ONCE = 200


@dataclass(frozen=True)
class Entry:
    """One step of the run: a move, the state it led to, and what is violated there.

    Attributes
    ----------
    scanned : Scanned
        What the program did in the last scan up to here.
    changes : tuple of str
        Machines and outputs that changed, in words.
    n_units : int
        The units of time that have passed since power-up.
    is_unseen : bool
        Time passed, or a scan did nothing: no variable is another, and nothing is newly violated.
    """

    move: str
    state: State
    scanned: Scanned
    violated: frozenset[str]
    changes: tuple[str, ...] = ()
    n_units: int = 0
    is_unseen: bool = False


@dataclass(frozen=True)
class Refusal:
    """Why something asked for does not happen.

    Attributes
    ----------
    what : str
        The thing asked for, in the trade's words.
    reason : Reason or None
        Down to what is missing, where a guard is the reason.
    says : str
        The reason in words, where it is no guard.
    """

    what: str
    reason: Reason | None = None
    says: str = ""


@dataclass
class Session:
    """A run on a bench.

    Attributes
    ----------
    bench : Bench
    entries : list of Entry
        The whole run, also behind the present position.
    position : int
        How many steps of it were made; 0 is power-up.
    by_itself : bool
        Plant moves happen by themselves when `tick` is called; else the user picks each.
    scan_follows : bool
        A scan follows each move of the user at once.
    loop_start : int or None
        Where a shown run repeats for ever: the number of steps before its loop.
    told : str
        What run is shown, such as the violation it is of; empty for the user's own.
    """

    bench: Bench
    entries: list[Entry] = field(default_factory=list)
    position: int = 0
    by_itself: bool = True
    scan_follows: bool = True
    loop_start: int | None = None
    told: str = ""

    def __post_init__(self) -> None:
        system = self.bench.system
        first = self.bench.violated(system.initial)
        self._start = Entry("", system.initial, self.bench.at_power_up(), first)

    @property
    def here(self) -> Entry:
        """The step that led to the present state; at power-up one without a move."""
        return self.at(self.position)

    def at(self, step: int) -> Entry:
        """The step of that number; power-up, which is 0, is one without a move."""
        return self.entries[step - 1] if step else self._start

    @property
    def state(self) -> State:
        """The present state."""
        return self.here.state

    @property
    def made(self) -> list[Entry]:
        """The steps up to the present one."""
        return self.entries[: self.position]

    @property
    def is_full(self) -> bool:
        """Whether the run is as long as a run may be."""
        return self.position >= MAX_STEPS

    def violations(self) -> dict[str, int]:
        """The first step at which each requirement is violated in the run up to here."""
        found = dict.fromkeys(sorted(self._start.violated), 0)
        for number, entry in enumerate(self.made, 1):
            for id_ in sorted(entry.violated):
                found.setdefault(id_, number)
        return found

    def act(self, name: str) -> Refusal | None:
        """Make one move, or the scan, as the user asks; tell why not where it is not possible."""
        if self.is_full:
            return Refusal(name, says=f"The run has {MAX_STEPS:,} steps; start anew or go back.")
        if self.bench.waits_for_scan(self.state, name):
            self._scan_next()
        if name not in self.bench.enabled(self.state):
            return self.why_not(name)
        self._make(name)
        if name not in (SCAN, TICK) and self.scan_follows:
            self._scan_next()
        return None

    def _scan_next(self) -> None:
        """Scan; with time, let it pass up to the scan, unless something must happen before."""
        while self.bench.time is not None and not self.is_full:
            enabled = self.bench.enabled(self.state)
            if SCAN in enabled:
                break
            if TICK not in enabled:
                return
            self._make(TICK)
        if not self.is_full:
            self._make(SCAN)

    def let_time_pass(self) -> Refusal | None:
        """Let time pass until something can happen that cannot now; tell why not where none may."""
        known = self.bench.enabled(self.state).keys()
        if TICK not in known:
            return self.why_not(TICK)
        before = self.here
        while not self.is_full and self.bench.after(self.state, TICK) != self.state:
            violated = self.here.violated
            self._make(TICK)
            enabled = self.bench.enabled(self.state).keys()
            if TICK not in enabled or not enabled <= known or self.here.violated != violated:
                break
        if self.here is before:
            return Refusal("time", says="Nothing more can happen by waiting alone.")
        return None

    def set_control(self, control: str, position: int) -> Refusal | None:
        """Bring a control to a position; nothing happens where it is there already."""
        if self.bench.value(self.state, control) == position:
            return None
        moves = self.bench.model.moves
        wanted = [m.name for m in moves if m.machine == control and m.target == position]
        return self.act(wanted[0])

    def tick(self) -> bool:
        """Let one thing happen by itself, with the scan behind it; False where all is at rest.

        What has waited longest comes first, so nothing that stays possible is left out for ever.
        """
        if self.is_full:
            return False
        if self.bench.time is not None:
            return self._tick_in_time()
        if self.bench.pending(self.state):
            self._make(SCAN)
            return True
        enabled = self.bench.enabled(self.state)
        ready = [move for move in enabled.values() if move.kind in BY_ITSELF]
        if ready:
            last = {entry.move: number for number, entry in enumerate(self.made)}
            self._make(min(ready, key=lambda move: last.get(move.name, -1)).name)
            self._make(SCAN)
            return True
        if self.bench.after(self.state, SCAN) != self.state:
            self._make(SCAN)
            return True
        return False

    def _tick_in_time(self) -> bool:
        """As `tick`; what nobody sees is passed over, so that something is seen in the end."""
        if self.is_at_rest:
            return False
        start = self.position
        while self.position < start + _UNSEEN_AT_ONCE and not self.is_full:
            name = self._next_in_time()
            if name is None:
                break
            self._make(name)
            if not self.here.is_unseen or self.is_at_rest:
                break
        return self.position > start

    def _next_in_time(self) -> str | None:
        """What happens next by itself: what has waited longest; where nothing does, time passes.

        Nothing happens twice in one instant while time may pass: it would never go on.
        """
        enabled = self.bench.enabled(self.state)
        ready = [name for name, move in enabled.items() if move.kind in BY_ITSELF]
        if SCAN in enabled and self.bench.after(self.state, SCAN) != self.state:
            ready.append(SCAN)
        fresh = [name for name in ready if name not in self._made_in_this_instant()]
        if ready and (fresh or TICK not in enabled):
            wanted = set(fresh or ready)
            for entry in reversed(self.made):
                if len(wanted) == 1:
                    break
                wanted.discard(entry.move)
            return next(name for name in ready if name in wanted)
        return TICK if TICK in enabled else None

    def _made_in_this_instant(self) -> set[str]:
        found = set()
        for entry in reversed(self.made):
            if entry.move == TICK:
                break
            found.add(entry.move)
        return found

    def time_at(self, step: int) -> str:
        """The time from power-up to a step in words; empty without time."""
        time = self.bench.time
        return "" if time is None else seconds(self.at(step).n_units * time.unit_ms)

    @property
    def is_at_rest(self) -> bool:
        """Whether nothing happens any more until somebody does something."""
        if self.bench.time is not None:
            return self.bench.time.is_rest(self.state)
        enabled = self.bench.enabled(self.state).values()
        waits = any(move.kind in BY_ITSELF for move in enabled)
        return not waits and self.bench.after(self.state, SCAN) == self.state

    def go(self, position: int) -> None:
        """Stand after `position` steps of the run; nothing happens by itself from then on."""
        self.position = max(0, min(position, len(self.entries)))
        self.by_itself = False

    def start_anew(self) -> None:
        """Back to power-up, the run forgotten."""
        self.entries.clear()
        self.position, self.loop_start, self.told = 0, None, ""

    def show(self, moves: Sequence[str], loop_start: int | None, told: str) -> Refusal | None:
        """Put another run in place of this one, and stand at its beginning.

        Where a move of it is not possible, the run ends before it and the reason is given.
        """
        self.start_anew()
        self.by_itself = False
        refused = None
        if len(moves) > MAX_STEPS:
            says = f"The run is cut short: only {MAX_STEPS:,} of its steps are shown."
            refused = Refusal("run", says=says)
        for name in moves[:MAX_STEPS]:
            if name not in self.bench.enabled(self.state):
                refused = self.why_not(name)
                break
            self._make(name)
        self.position = 0
        self.loop_start = loop_start if refused is None else None
        self.told = told
        return refused

    def _make(self, name: str) -> None:
        del self.entries[self.position :]
        # What is done here is the user's own run from now on.
        self.loop_start, self.told = None, ""
        here = self.here
        if name == SCAN:
            state, scanned = self.bench.scan(here.state, here.scanned.memory)
        else:
            state, scanned = self.bench.after(here.state, name), here.scanned
            origin = self.bench.system.move(name).origin
            struck = None if origin is None else origin.struck
            if struck is not None and self.bench.model.faults[struck].restart:
                scanned = self.bench.at_power_up()
        changes = self.bench.changes(here.state, state)
        violated, time = self.bench.violated(state), self.bench.time
        is_unseen = (
            time is not None
            and name in (SCAN, TICK)
            and violated == here.violated
            and time.seen_alike(here.state, state)
        )
        n_units = here.n_units + (name == TICK)
        entry = Entry(name, state, scanned, violated, changes, n_units, is_unseen)
        self.entries.append(entry)
        self.position += 1

    def why_not(self, name: str) -> Refusal:
        """Why the move called `name` is not possible now."""
        move, time = self.bench.moves.get(name), self.bench.time
        early = "" if time is None else time.why_not(self.state, name)
        if move is None:
            says = f"is not possible yet: {early}." if early else "It is not possible now."
            return Refusal(self.bench.in_words(name), says=says)
        what = move.says or name
        due = [] if time is None else time.due(self.state)
        if due and SCAN not in due and self.bench.waits_for_scan(self.state, name):
            first = self.bench.in_words(due[0])
            says = f"must wait for the next scan, and '{first}' must happen before that."
            return Refusal(what, says=says)
        if name in self.bench.enabled(self._after_due_scan(name)):
            return Refusal(what, says="It is possible.")
        reason = self.bench.situation(self.state).why_not_move(move)
        if reason is None and early:
            return Refusal(what, says=f"is not possible yet: {early}.")
        if reason is None:
            machine = self.bench.model.machines[move.machine]
            at = machine.states[self.bench.value(self.state, machine.name)]
            return Refusal(what, says=f"{machine.name} is {at} already.")
        return Refusal(what, reason)

    def _after_due_scan(self, name: str) -> State:
        due = self.bench.waits_for_scan(self.state, name)
        return self.bench.after(self.state, SCAN) if due else self.state

    def possible(self) -> dict[str, MoveKind]:
        """The moves whose own condition holds, a scan being due or not."""
        calm = list(self.state)
        for name in self.bench.system.turns:
            calm[self.bench.system.index[name]] = 0
        return {name: move.kind for name, move in self.bench.enabled(tuple(calm)).items()}

    def held(self) -> list[str]:
        """The controls that a spring would take back, were they let go."""
        machines = self.bench.model.machines
        return [
            name
            for name, machine in machines.items()
            if machine.is_control
            and machine.released is not None
            and self.bench.value(self.state, name) != machine.released
        ]

    def why_nothing_moves(self) -> list[Refusal]:
        """What the plant's moves lack that lack no button: why a held one moves nothing."""
        model = self.bench.model
        controls = {n.casefold() for n, m in model.machines.items() if m.is_control}
        others = controls | {id_.casefold() for id_ in model.faults}
        others -= {id_.casefold() for id_ in self.bench.struck(self.state)}
        situation = self.bench.situation(self.state)
        by_letting_go = self._possible_when_let_go()
        found = []
        for move in model.moves:
            if move.kind is not MoveKind.PLANT or move.name in by_letting_go:
                continue
            if self.bench.value(self.state, move.machine) != move.source:
                continue
            reason = situation.why_not_move(move)
            if reason is None:
                continue
            lacks = {name.casefold() for end in reason.ends for name, _ in end.about}
            if not lacks & others:
                found.append(Refusal(move.says or move.name, reason))
        return found

    def _possible_when_let_go(self) -> set[str]:
        """The moves that would be possible if every held control were let go."""
        state = self.state
        for name in self.held():
            released = self.bench.model.machines[name].released
            for move in self.bench.model.moves:
                if move.machine == name and move.target == released:
                    state = self.bench.after(state, move.name)
        then = self.bench.after(state, SCAN)
        waiting = () if self.bench.time is None else self.bench.time.under_way(then)
        return {*self.bench.enabled(then), *waiting}
