"""The facets of everything that a model file says, in canonical text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from interlock.commands.compare.differences import WORDING, Difference, Facets, differences_of
from interlock.commands.compare.program import program_differences
from interlock.kernel.system import MoveKind
from interlock.model.bound import Bound
from interlock.model.fault import Fault
from interlock.model.fault_kinds import FaultKind, Site, kinds_at
from interlock.model.model import (
    Delay,
    Duration,
    Formula,
    Machine,
    Model,
    ModelMove,
    Statement,
)
from interlock.st.untype import expression_text

_Entries = dict[str, Facets]

# Keys of a model file that are not compared, with the reason.
NOT_COMPARED: Mapping[str, str] = {
    "root": "the programs are compared as they are executed, whichever unit that is",
    "controllers": "a model with several controllers is refused",
    "title": "both stand at the head of the comparison",
    "revises": "what is inherited is compared as if it stood in the file itself",
    "changes": "it is what the author says of the change",
    "expected": "it is what the author expects of one revision; no verdict depends on it",
    "matrix": "each of its signs is compared as a requirement",
    "side_view": "it draws the state; no verdict depends on it",
}


def model_differences(old: Model, new: Model) -> tuple[Difference, ...]:
    """Everything in which two models differ by meaning, the program included."""
    found: list[Difference] = []
    of_new = dict(_sections(new))
    for section, entries in _sections(old):
        exact = section in ("assumption", "caution")
        found += differences_of(section, entries, of_new[section], exact)
    return (*found, *program_differences(old.program, new.program))


def _sections(model: Model) -> Iterator[tuple[str, _Entries]]:
    machines = model.machines.values()
    yield "model", {"says": {WORDING: model.says}}
    yield "run", {"run": _run(model)}
    yield "machine", {m.name: _machine(m) for m in machines if not m.is_control}
    yield "control", {m.name: _machine(m) for m in machines if m.is_control}
    yield "move", {move.name: _move(model, move) for move in model.moves}
    yield (
        "sensor",
        {
            s.name: {
                "reads": _text(s.reads),
                "age": f"{s.age} scan{'s'[: s.age != 1]}" if s.age else "",
                "bus": s.bus,
                "pair": s.pair or "",
                "delay": _delay(s.delay),
                "address": s.address,
                "terminal": s.terminal,
                WORDING: s.says,
            }
            for s in model.sensors.values()
        },
    )
    yield (
        "output",
        {
            o.name: {
                "lamp": o.lamp or "",
                "sounds": "yes" if o.sounds else "",
                "announces": "yes" if o.announces else "",
                "delay": _delay(o.delay),
                "address": o.address,
                "terminal": o.terminal,
                WORDING: o.says,
            }
            for o in model.outputs.values()
        },
    )
    yield "term", {name: {"means": _text(formula)} for name, formula in model.terms.items()}
    yield "fault", {id_: _fault(model, fault) for id_, fault in model.faults.items()}
    yield (
        "hazard",
        {
            h.id: {
                "severity": h.severity or "",
                "exposure": h.exposure or "",
                "avoidance": h.avoidance or "",
                WORDING: h.says,
            }
            for h in model.hazards.values()
        },
    )
    yield "requirement", {id_: _statement(s) for id_, s in model.statements.items()}
    yield "assumption", {text: {} for text in model.assumptions}
    yield "caution", {text: {} for text in model.cautions}
    yield (
        "supply",
        {s.name: {"while": _text(s.feeds_while), WORDING: s.says} for s in model.supplies.values()},
    )


def _text(formula: Formula | None) -> str:
    return "" if formula is None else expression_text(formula.tree)


def _run(model: Model) -> Facets:
    settings = model.settings
    return {
        "between scans": str(model.between_scans),
        "timers": settings.timers.value,
        "time": "" if model.timing is None else str(model.timing),
        "scan": f"{settings.scan_ms} ms",
        "edges": f"edition {settings.edges}",
        "overflow": settings.overflow,
        "map": ", ".join(model.map_machines),
        "unsafe": _text(model.unsafe),
    }


def _machine(machine: Machine) -> Facets:
    released = "" if machine.released is None else machine.states[machine.released]
    return {
        "states": ", ".join(machine.states),
        "initial": machine.states[machine.initial],
        "released": released,
        WORDING: machine.says,
    }


def _move(model: Model, move: ModelMove) -> Facets:
    states = model.machines[move.machine].states
    return {
        "from": "any other" if move.source is None else states[move.source],
        "to": states[move.target],
        "when": _text(move.when),
        "also": ", ".join(f"{name}: {_text(f)}" for name, f in sorted(move.also.items())),
        "by": move.kind.value,
        "takes": _takes(move.takes),
        "waits": "" if move.stays is None else f"{float(move.stays.ms) / 1000:g} s",
        "may": "yes" if move.may else "",
        "bounces": "yes" if move.bounces else "",
        # What setting a control is called follows from what the control is called.
        WORDING: "" if model.machines[move.machine].is_control else move.says,
    }


def _fault(model: Model, fault: Fault) -> Facets:
    flags = {
        "intermittent": fault.intermittent,
        "common cause": fault.common_cause,
        "assumed": fault.assumed,
    }
    figures = {
        "rate": fault.rate,
        "probability": fault.probability,
        "hidden for h": fault.exposure_h,
    }
    return {
        "sensors": _held(fault.sensors),
        "outputs": _held(fault.outputs),
        **{kind.name: _at_machine(model, fault, kind) for kind in kinds_at(Site.MACHINE)},
        **{
            kind.name: "yes" if any(e.kind == kind for e in fault.effects) else ""
            for kind in kinds_at(Site.CONTROLLER)
        },
        **{name: "yes" if value else "" for name, value in flags.items()},
        **{name: "" if value is None else repr(value) for name, value in figures.items()},
        "source": fault.source or "",
        "injectable": {None: "", True: "yes", False: "no"}[fault.injectable],
        "excluded": fault.excluded or "",
        "decides over": _decided_over(model, fault),
        WORDING: fault.says,
    }


def _decided_over(model: Model, fault: Fault) -> str:
    """The faults of the same signals and outputs that count only while this one does not."""
    earlier = []
    for id_, other in model.faults.items():
        if id_ == fault.id:
            break
        shared = (other.sensors.keys() & fault.sensors) | (other.outputs.keys() & fault.outputs)
        earlier += [f"{id_} on {name}" for name in sorted(shared)]
    return ", ".join(sorted(earlier))


def _held(given: Mapping[str, FaultKind]) -> str:
    return ", ".join(f"{name} {given[name].value}" for name in sorted(given))


def _at_machine(model: Model, fault: Fault, kind: FaultKind) -> str:
    found = []
    for effect in (e for e in fault.effects if e.kind == kind):
        states = model.machines[effect.name].states
        where = ", ".join(states[n] for n in effect.states) or "any state"
        found.append(f"{effect.name} in {where}")
    return "; ".join(found)


def _delay(delay: Delay | None) -> str:
    return "" if delay is None else f"{delay.ms:g} ms, {_founded(delay.source, delay.assumed)}"


def _takes(takes: Duration | None) -> str:
    if takes is None:
        return ""
    founded = _founded(takes.source, takes.assumed)
    broken = ", goes on where it is interrupted" if takes.goes_on else ""
    return f"{takes.least:g} to {takes.greatest:g} s{broken}, {founded}"


def _founded(source: str | None, assumed: bool) -> str:
    return "; ".join(words for words in (source, "assumed" if assumed else "") if words)


def _bound(bound: Bound) -> str:
    counted = "scans" if bound.counted is MoveKind.SCAN else "units of time"
    return f"{bound.says} = {bound.scans} {counted}"


def _statement(s: Statement) -> Facets:
    return {
        "pattern": s.pattern.value,
        "p": _text(s.p),
        "s": _text(s.s),
        "within": "" if s.within is None else _bound(s.within),
        "when": _text(s.when),
        "scope": s.scope.value,
        "opens": _text(s.opens),
        "closes": _text(s.closes),
        "judged": "after scan" if s.after_scan else "at every state",
        "about": "signals" if s.about_signals else "truth",
        "survives": str(s.survives),
        "hazards": ", ".join(s.hazards),
        WORDING: s.says,
    }
