"""How a change spreads: which machines, signals and outputs may behave otherwise, and why.

What changed itself is told by the differences of the files, by lockstep and by the moves that came
or went. From there it is passed on: to a machine by what its moves read and by the moves of others
that take it along, to a signal by what it reads, to an output by the signals that it is computed
from. An output that lockstep showed equal on either plant is passed over as far as signals go, and
reached only where what stands behind those signals moves otherwise.

Under faults more is reached: what a changed fault acts on, and every output that is equal without
faults only, since signals that lie may tell two programs apart that nothing else does.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from interlock.commands.compare.behaviour import (
    Behaviour,
    Likeness,
    OutputComparison,
    likeness_words,
)
from interlock.commands.compare.differences import WORDING, Difference, Kind
from interlock.commands.compare.moves import MoveComparison
from interlock.kernel import expr as ex
from interlock.model.fault import Effect
from interlock.model.fault_kinds import Site
from interlock.model.model import Formula, Model
from interlock.model.reading import names_behind
from interlock.model.turns import turns_of
from interlock.st.layout import PREFIX
from interlock.st.lower import Lowered, lower_program

# So many of the things that something depends on are named.
_MOST_NAMED = 4
# Facets on which no verdict and no behaviour depends.
_TIMES = {"takes", "waits"}
_SHOWN_ONLY = {WORDING, *_TIMES, "pair", "bus", "lamp", "sounds", "announces", "source", "assumed"}
_FIGURES = {"rate", "probability", "hidden for h", "injectable"}

Node = str
"""A casefolded name of a machine, output, term or fault; of a signal with ``signal`` before it."""


def signal_node(name: str) -> Node:
    """The node of a signal, whose name a machine or a term may have, too."""
    return f"signal {name.casefold()}"


def _acted_on(model: Model, effect: Effect) -> list[Node]:
    """What an effect of a fault changes at once; a restart may change every output."""
    match effect.site:
        case Site.SIGNAL:
            return [signal_node(effect.name)]
        case Site.CONTROLLER:
            return [name.casefold() for name in model.outputs]
        case _:
            return [effect.name.casefold()]


@dataclass
class Reasons:
    """Why something may behave otherwise.

    Attributes
    ----------
    own : dict of Node to list of str
        Reasons that lie in it.
    passed_on : dict of Node to list of str
        Reasons that lie in what it depends on.
    """

    own: dict[Node, list[str]] = field(default_factory=dict)
    passed_on: dict[Node, list[str]] = field(default_factory=dict)
    _shown_only: set[Node] = field(default_factory=set)

    def note(self, node: Node, reason: str, spreads: bool = True) -> None:
        """Note a reason that lies in `node`; what only shows is not passed on."""
        reasons = self.own.setdefault(node, [])
        if not reasons and not spreads:
            self._shown_only.add(node)
        elif spreads:
            self._shown_only.discard(node)
        if reason not in reasons:
            reasons.append(reason)

    def of(self, node: Node) -> tuple[str, ...]:
        """All reasons, those that lie in it first; none where it behaves as before."""
        return (*self.own.get(node, ()), *self.passed_on.get(node, ()))

    def touches(self, node: Node) -> bool:
        """Whether `node` may behave otherwise, or only shows otherwise."""
        return node in self.own or node in self.passed_on

    def spreading(self, node: Node) -> bool:
        """Whether what depends on `node` may behave otherwise because of it."""
        return node in self.passed_on or (node in self.own and node not in self._shown_only)


class Spread:
    """How a change spreads.

    Parameters
    ----------
    models : pair of Model
        The old one and the new one.
    differences : sequence of Difference
    behaviour : Behaviour or None
    not_applicable : str
        Why there is no behaviour.
    moves : MoveComparison

    Attributes
    ----------
    differences : tuple of Difference
        Those of wording, too.
    reasons : Reasons
        Without faults.
    under_faults : Reasons
        In a run in which faults strike.
    """

    def __init__(
        self,
        models: tuple[Model, Model],
        differences: Sequence[Difference],
        behaviour: Behaviour | None,
        not_applicable: str,
        moves: MoveComparison,
    ) -> None:
        self._models = models
        self.differences = tuple(differences)
        self._differences = [d for d in differences if not d.is_wording]
        self._has_time = any(model.timing is not None for model in models)
        self._behaviour = behaviour
        self._words = dict(self._words_of_nodes())
        programs = [lower_program(model.program, model.settings) for model in models]
        self._flows = [program_flow(lowered) for lowered in programs]
        self._same_program = _computed_alike(programs, self._flows)
        self.reasons = Reasons()
        self.under_faults = Reasons()
        for reasons in (self.reasons, self.under_faults):
            self._note_outputs(reasons, not_applicable)
            self._note_signals(reasons)
            self._note_machines(reasons, moves)
            self._note_retained(reasons)
        self._note_faults(self.under_faults)
        equal = {o.output.casefold() for o in self._compared() if o.likeness is Likeness.EQUAL}
        self._pass_on(self.reasons, self._reads(equal))
        self._pass_on(self.under_faults, self._reads(set()))

    def says(self, node: Node) -> str:
        """What a node is, as in ``machine gate``; of a term or a fault how it changed."""
        return self._words.get(node, node)

    def nodes_read(
        self, model: Model, formulas: Iterable[Formula], about_signals: bool
    ) -> set[Node]:
        """The nodes that formulas of a requirement speak of."""
        found: set[Node] = set()
        truth = {n.casefold() for n in (*model.machines, *model.outputs, *model.terms)}
        for formula in formulas:
            names = names_behind(model, formula.tree)
            signals = names - truth if about_signals else set()
            found |= names - signals
            found |= {signal_node(name) for name in signals}
        return found

    def _of(self, *sections: str) -> Iterator[Difference]:
        yield from (d for d in self._differences if d.section in sections)

    def _compared(self) -> tuple[OutputComparison, ...]:
        return () if self._behaviour is None else self._behaviour.outputs

    def _words_of_nodes(self) -> Iterator[tuple[Node, str]]:
        for model in self._models:
            yield from ((name.casefold(), f"machine {name}") for name in model.machines)
            yield from ((name.casefold(), f"output {name}") for name in model.outputs)
            yield from ((signal_node(name), f"signal {name}") for name in model.sensors)
        for d in self._of("term", "fault"):
            yield d.name.casefold(), f"{d.section} {d.name} {d.kind.value}"

    # What changed itself

    def _note_outputs(self, reasons: Reasons, not_applicable: str) -> None:
        old, new = ({n.casefold(): n for n in model.outputs} for model in self._models)
        compared = {o.output.casefold(): o for o in self._compared()}
        for node in {**old, **new}:
            one = compared.get(node)
            if one is not None:
                if one.likeness not in (Likeness.EQUAL, Likeness.SAME_LOGIC):
                    reasons.note(node, likeness_words(one))
                elif reasons is self.under_faults and node not in self._same_program:
                    reasons.note(node, "equal, but by other means and only while no fault strikes")
            elif self._behaviour is None and node in old and node in new:
                reasons.note(node, f"lockstep not applicable: {not_applicable}")
            else:
                which = "old" if node in old else "new"
                both = node in old and node in new
                said = "its type changed" if both else f"only the {which} controller has it"
                reasons.note(node, said)
        for d in self._of("output"):
            if d.kind is Kind.CHANGED:
                reasons.note(d.name.casefold(), "it is declared otherwise", self._spreads(d))

    def _note_signals(self, reasons: Reasons) -> None:
        for d in self._of("sensor"):
            reasons.note(signal_node(d.name), f"signal {d.kind.value}", self._spreads(d))
        inputs = {v.name.casefold() for model in self._models for v in model.program.inputs}
        for d in self._of("declaration"):
            if d.name.casefold() in inputs and d.kind is Kind.CHANGED:
                reasons.note(signal_node(d.name), "its input is declared otherwise")
        for d in self._of("term"):
            reasons.note(d.name.casefold(), "")

    def _note_machines(self, reasons: Reasons, moves: MoveComparison) -> None:
        for d in self._of("machine", "control"):
            reasons.note(d.name.casefold(), f"{d.section} {d.kind.value}", self._spreads(d))
        for d in self._of("move"):
            said = f"move '{d.name}' {d.kind.value}"
            for node in self._moved_by(d.name):
                reasons.note(node, said, self._spreads(d))
        self._note_turns(reasons)
        self._note_time(reasons)
        for changes, words in ((moves.gained, "newly possible"), (moves.lost, "less possible")):
            for change in changes:
                for node in self._moved_by(change.move):
                    reasons.note(node, f"'{change.move}' is {words}")

    def _note_turns(self, reasons: Reasons) -> None:
        """What may move otherwise often between two scans."""
        for d in self._of("run"):
            for detail in d.details:
                if detail.facet == "between scans":
                    said = f"'{detail.after}' between scans where it was '{detail.before}'"
                    for model in self._models:
                        for name in model.machines:
                            reasons.note(name.casefold(), said)
        # A least duration, or the time of a scan, may let a machine move more often than once.
        before, after = (turns_of(model).most for model in self._models)
        for name in {**before, **after}:
            if before.get(name) != after.get(name):
                reasons.note(name.casefold(), "it may move otherwise often between two scans")

    def _note_time(self, reasons: Reasons) -> None:
        """What time may let happen otherwise, beside the moves whose own times changed.

        Where something may have to happen in no time, time may stand still, and that stops all.
        """
        said = ""
        for d in self._of("run"):
            for detail in d.details:
                if self._has_time and detail.facet in ("time", "scan"):
                    said = "time passes otherwise"
        times = [m.takes for model in self._models for m in model.moves if m.takes is not None]
        retimed = any(detail.facet == "takes" for d in self._of("move") for detail in d.details)
        if self._has_time and retimed and any(not takes.greatest for takes in times):
            said = "times changed where time may stand still"
        if said:
            for model in self._models:
                for name in (*model.machines, *model.outputs):
                    reasons.note(name.casefold(), said)

    def _spreads(self, difference: Difference) -> bool:
        """Whether what depends on it may behave otherwise."""
        shown_only = _SHOWN_ONLY - _TIMES if self._has_time else _SHOWN_ONLY
        return not {detail.facet for detail in difference.details} <= shown_only

    def _moved_by(self, name: str) -> set[Node]:
        """The machines that moves called `name` change."""
        folded = name.casefold()
        moves = [m for model in self._models for m in model.moves if m.name.casefold() == folded]
        return {n.casefold() for move in moves for n in (move.machine, *move.also)}

    def _note_retained(self, reasons: Reasons) -> None:
        for name in retained_otherwise(self._differences):
            own = (name.casefold(), PREFIX + name.casefold())
            for flow in self._flows:
                for output, read in flow.items():
                    names = {n.casefold() for n in read}
                    if any(n in own or n.startswith(f"{own[1]}.") for n in names):
                        reasons.note(output, f"{name} keeps another value over a restart")

    def _note_faults(self, reasons: Reasons) -> None:
        for d in self._of("fault"):
            if {detail.facet for detail in d.details} <= _SHOWN_ONLY | _FIGURES:
                continue
            said = f"fault {d.name} {d.kind.value}"
            reasons.note(d.name.casefold(), said)
            for model in self._models:
                fault = model.faults.get(d.name)
                if fault is None:
                    continue
                for effect in fault.effects:
                    for node in _acted_on(model, effect):
                        reasons.note(node, said)

    # What depends on what

    def _reads(self, equal: set[Node]) -> dict[Node, set[Node]]:
        """By node: what it depends on, in either model."""
        found: dict[Node, set[Node]] = {}
        for model, flow in zip(self._models, self._flows, strict=True):
            for move in model.moves:
                when = set() if move.when is None else names_behind(model, move.when.tree)
                for name in (move.machine, *move.also):
                    read = found.setdefault(name.casefold(), set())
                    read |= when | {move.machine.casefold()}
                    if name in move.also:
                        read |= names_behind(model, move.also[name].tree)
            behind = {
                signal_node(name): names_behind(model, sensor.reads.tree)
                for name, sensor in model.sensors.items()
            }
            for node, read in behind.items():
                found.setdefault(node, set()).update(read)
            solid = {n.casefold() for n in (*model.machines, *model.outputs)}
            for output, read in flow.items():
                inputs = [n.removeprefix("input.") for n in read if n.startswith("input.")]
                signals = {signal_node(name) for name in inputs}
                if output in equal:
                    signals = set().union(*(behind.get(s, set()) for s in signals)) & solid
                found.setdefault(output, set()).update(signals - {output})
        return found

    def _pass_on(self, reasons: Reasons, reads: Mapping[Node, set[Node]]) -> None:
        spreading = {node for node in reasons.own if reasons.spreading(node)}
        while True:
            more = {n for n, read in reads.items() if n not in spreading and read & spreading}
            if not more:
                break
            spreading |= more
        for node, read in reads.items():
            causes = sorted(self.says(cause) for cause in (read & spreading) - {node})
            if causes:
                n_more = len(causes) - _MOST_NAMED
                said = ", ".join(causes[:_MOST_NAMED]) + (
                    f" and {n_more} more" if n_more > 0 else ""
                )
                reasons.passed_on[node] = [f"depends on {said}"]


def program_flow(lowered: Lowered) -> dict[Node, set[str]]:
    """By output: the inputs and the memory that it is computed from, over any number of scans.

    Inputs are called ``input.NAME``, memory as in `interlock.st.layout`; outputs are casefolded.
    """
    direct = {name: set(ex.variables_of([value])) for name, value in lowered.updates.items()}
    for move in lowered.timer_moves:
        for name in move.updates:
            direct.setdefault(name, set()).update(ex.variables_of([move.guard]))
    outputs = [v.name for v in lowered.program.variables if v.kind == "VAR_OUTPUT"]
    found = {}
    for output in outputs:
        reached, waiting = {output}, [output]
        while waiting:
            more = direct.get(waiting.pop(), set()) - reached
            reached |= more
            waiting += more
        found[output.casefold()] = reached
    return found


def _computed_alike(
    programs: Sequence[Lowered], flows: Sequence[Mapping[Node, set[str]]]
) -> set[Node]:
    """The outputs that both programs compute by the same expressions of the same inputs."""
    old, new = programs
    declared = [{v.name: (v.domain, v.initial) for v in p.variables} for p in programs]
    timers = [
        {
            i.name: (i.block, i.counted, i.preset_ms, p.presets.get(i.name))
            for i in p.program.instances
        }
        for p in programs
    ]
    other = {
        name
        for name in {*old.updates, *new.updates, *declared[0], *declared[1]}
        if old.updates.get(name) is not new.updates.get(name)
        or declared[0].get(name) != declared[1].get(name)
    }
    apart = {n for n in {*timers[0], *timers[1]} if timers[0].get(n) != timers[1].get(n)}
    other |= {
        name
        for flow in flows
        for read in flow.values()
        for name in read
        if name.removeprefix(PREFIX).split(".")[0] in apart
    }
    return {
        node
        for node in flows[0].keys() & flows[1].keys()
        if not (flows[0][node] | flows[1][node]) & other
    }


def retained_otherwise(differences: Iterable[Difference]) -> Iterator[str]:
    """Names of declared variables that a restart treats otherwise in the new program."""
    for d in differences:
        for detail in d.details if d.section == "declaration" else ():
            kept = ["RETAIN" in kind for kind in (detail.before, detail.after)]
            if detail.facet == "kind" and kept[0] != kept[1]:
                yield d.name
