"""The old model's requirements, and the faults that they count, carried over to the new model.

A requirement that asks less than before is kept more easily; whether the new model keeps what the
old one was asked is another question. So the old statement is written over the new model's
machines, outputs and signals, with the old model's terms, and judged there like any other. States
are found by their names, whatever their order is now. What speaks of something that the new model
does not have cannot be carried over, and the reason is kept.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from interlock.kernel.patterns import PATTERNS
from interlock.kernel.requirement import Requirement
from interlock.kernel.system import MoveKind
from interlock.model.bound import Bound
from interlock.model.build import Built, build
from interlock.model.fault import Effect, Fault
from interlock.model.fault_kinds import Site
from interlock.model.inside import inside_names
from interlock.model.model import Formula, Model, ModelMove, Statement
from interlock.model.reading import names_behind
from interlock.st import typed as ty
from interlock.st.types import EnumType, domain_of


class _NamesGoneError(Exception):
    """The new model lacks something that an old formula speaks of; the text says what."""


@dataclass(frozen=True)
class Carried:
    """The old requirements over the new model.

    Attributes
    ----------
    model : Model
        The new model with the old statements in place of its own.
    differing : tuple of str
        Those of them that the new model asks in another sense, or not at all.
    why_not : mapping of str to str
        By requirement: why its old statement could not be carried over.
    now_errors : tuple of str
        Moves that people simply made in the old model and that the new one counts as human
        errors. What the old model asked is judged with them, so all statements differ.
    """

    model: Model
    differing: tuple[str, ...]
    why_not: Mapping[str, str]
    now_errors: tuple[str, ...] = ()

    def asking(self, ids: Iterable[str]) -> Model:
        """The new model with these old statements only."""
        return replace(self.model, statements={id_: self.model.statements[id_] for id_ in ids})


def carry_statements(old: Model, new: Built) -> Carried:
    """The old statements over the new model, and which of them it asks in another sense."""
    writer = _Writer(old, new.model)
    found, why_not = {}, {}
    for id_, statement in old.statements.items():
        try:
            found[id_] = writer.statement(statement)
        except _NamesGoneError as reason:
            why_not[id_] = str(reason)
    moves, now_errors = _with_old_hands(old, new.model)
    whole = replace(
        new.model,
        statements=found,
        terms={**new.model.terms, **writer.terms},
        inside={**new.model.inside, **writer.inside},
        moves=moves,
        side_view=None,
    )
    asked = build(whole).requirements
    other = (
        id_ for id_, s in found.items() if now_errors or not _same_sense(asked[id_], s, new, id_)
    )
    return Carried(whole, tuple(other), why_not, now_errors)


def _with_old_hands(old: Model, new: Model) -> tuple[tuple[ModelMove, ...], tuple[str, ...]]:
    """The new moves with the human errors among them that were none before, and those by name."""
    hands = {move.name: move.kind for move in old.moves}
    kinds = [hands.get(m.name, m.kind) if m.kind is MoveKind.HUMAN else m.kind for m in new.moves]
    moves = tuple(replace(m, kind=kind) for m, kind in zip(new.moves, kinds, strict=True))
    pairs = zip(new.moves, kinds, strict=True)
    return moves, tuple(move.name for move, kind in pairs if kind is not move.kind)


def _same_sense(asked: Requirement, statement: Statement, new: Built, id_: str) -> bool:
    """Whether the new model asks the very same of every run."""
    theirs, there = new.requirements.get(id_), new.model.statements.get(id_)
    if theirs is None or there is None:
        return False
    bounds = [None if s.within is None else s.within.ms for s in (statement, there)]
    return bounds[0] == bounds[1] and _sense(asked) == _sense(theirs)


def _sense(requirement: Requirement) -> Requirement:
    return replace(requirement, says="", survives=0, hazards=())


class _Writer:
    """Writes old formulas over the new model."""

    def __init__(self, old: Model, new: Model) -> None:
        self._old, self._new = old, new
        self._machines = {name.casefold(): name for name in new.machines}
        self._kinds = _kinds(old), _kinds(new)
        self._old_terms = {name.casefold(): formula for name, formula in old.terms.items()}
        self._types = {v.name.casefold(): v.type for v in new.program.variables}
        self.terms: dict[str, Formula] = {}
        self.inside: dict[str, str] = {}

    def statement(self, s: Statement) -> Statement:
        """The statement over the new model.

        Raises
        ------
        _NamesGoneError
        """
        formulas = {
            name: None if formula is None else self.formula(formula)
            for name, formula in (
                ("p", s.p),
                ("s", s.s),
                ("when", s.when),
                ("opens", s.opens),
                ("closes", s.closes),
            )
        }
        return replace(s, **formulas, within=self._within(s))  # type: ignore[arg-type]

    def formula(self, formula: Formula) -> Formula:
        """The formula over the new model; terms that it uses are written, too."""
        return replace(formula, tree=self._tree(formula.tree))

    def _within(self, statement: Statement) -> Bound | None:
        """A bound in time holds as many whole scans, or units, as the new model lets it."""
        bound, timing = statement.within, self._new.timing
        if bound is None or bound.ms is None:
            return bound
        row = PATTERNS[statement.pattern]
        if timing is not None:
            if statement.after_scan:
                raise _NamesGoneError("it is judged after scans, and time in every state")
            ms = Fraction(str(bound.ms))
            if timing.is_exact and ms % timing.unit_ms:
                whole = f"units of {timing.unit_ms} ms, by which the new model rounds nothing"
                raise _NamesGoneError(f"its bound of {bound.says} is no whole number of {whole}")
            return Bound.of_time(ms, timing.unit_ms, row.is_least, bound.says)
        if row.is_timed:
            raise _NamesGoneError("it asks how long something lasts, and no time passes there")
        scans = int(bound.ms // self._new.settings.scan_ms)
        if scans < 1:
            raise _NamesGoneError(f"its bound of {bound.says} is less than a scan of the new model")
        return replace(bound, scans=scans, counted=MoveKind.SCAN)

    def _tree(self, e: ty.Expression) -> ty.Expression:
        match e:
            case ty.Constant():
                return self._constant(e)
            case ty.Read():
                return self._read(e)
            case ty.Unary():
                return replace(e, operand=self._tree(e.operand))
            case ty.Binary():
                if e.op not in ("=", "<>"):
                    self._check_order(e.left)
                return replace(e, left=self._tree(e.left), right=self._tree(e.right))
            case ty.Junction():
                return replace(e, operands=tuple(map(self._tree, e.operands)))
            case _:
                if e.function.upper() != "SEL":
                    self._check_order(e)
                return replace(e, arguments=tuple(map(self._tree, e.arguments)))

    def _constant(self, e: ty.Constant) -> ty.Constant:
        if not isinstance(e.type, EnumType):
            return e
        label = e.type.labels[e.value]
        value = self._enumeration(e.type).value_of(label)
        if value is None:
            raise _NamesGoneError(f"{e.type.name} is never {label} in the new model")
        return replace(e, value=value, type=self._enumeration(e.type))

    def _enumeration(self, old: EnumType) -> EnumType:
        """The new model's type of that name: a machine's states, or a type of the program."""
        name = self._machines.get(old.name.casefold())
        if name is not None and not self._new.machines[name].is_bool:
            return EnumType(name, self._new.machines[name].states)
        known = {enum.name.casefold(): enum for enum in self._new.program.enums}
        found = known.get(old.name.casefold())
        if found is None:
            raise _NamesGoneError(f"the new model has no {old.name}")
        return found

    def _check_order(self, e: ty.Expression) -> None:
        """Refuse to compare by order what the new model orders otherwise."""
        if isinstance(e.type, EnumType):
            values = [self._enumeration(e.type).value_of(label) for label in e.type.labels]
            if None in values or values != sorted(v for v in values if v is not None):
                raise _NamesGoneError(f"the values of {e.type.name} stand in another order")

    def _read(self, e: ty.Read) -> ty.Read:
        folded = e.name.casefold()
        kind, name = self._kinds[0][folded]
        if kind == "term":
            carried = f"{name} of the old model"
            if carried not in self.terms:
                self.terms[carried] = self.formula(self._old_terms[folded])
            return replace(e, name=carried)
        if kind == "variable of the program":
            return self._inside(e)
        kind_now, name = self._kinds[1].get(folded, ("", ""))
        if kind_now != kind:
            raise _NamesGoneError(f"the new model has no {kind} {e.name}")
        if kind == "machine":
            machine = self._new.machines[name]
            if machine.is_bool is isinstance(e.type, EnumType):
                raise _NamesGoneError(f"{name} is set otherwise in the new model")
            type_ = e.type if machine.is_bool else EnumType(name, machine.states)
            return replace(e, name=name, type=type_)
        if domain_of(self._types.get(folded, e.type)) != domain_of(e.type):
            raise _NamesGoneError(f"{e.name} has another type in the new model")
        return replace(e, name=name)

    def _inside(self, e: ty.Read) -> ty.Read:
        """A variable inside the program, by the path that it has in the new one."""
        found = {path.casefold(): (path, t) for path, t in inside_names(self._new.program).items()}
        path, type_ = found.get(e.name.casefold(), ("", e.type))
        if not path or domain_of(type_) != domain_of(e.type):
            raise _NamesGoneError(f"the new program has no {e.name} of that type")
        if e.name.casefold() not in self._new.inside:
            self.inside[e.name.casefold()] = path[len(self._new.program.name) + 1 :].casefold()
        return replace(e, name=path)


def _kinds(model: Model) -> dict[str, tuple[str, str]]:
    """By casefolded name: what it is, and how it is spelled; what is true hides signals."""
    sorts = (
        ("signal", model.sensors),
        ("fault", model.faults),
        ("machine", model.machines),
        ("output", model.outputs),
        ("term", model.terms),
        ("variable of the program", {path: path for path in model.inside}),
    )
    return {name.casefold(): (kind, name) for kind, names in sorts for name in names}


# Faults

Faults = tuple[str, ...]


def uncounted_faults(
    old: Model, new: Model, counted: tuple[Faults, Faults]
) -> tuple[Faults, Faults]:
    """Old faults that the new model counts no longer, or with another effect.

    Parameters
    ----------
    old, new : Model
    counted : pair of tuple of str
        The faults of either model that claims are judged with.

    Returns
    -------
    lost, unknown : tuple of str
        Those that can be carried over, and those whose meaning lies in expressions of the old
        plant, which cannot. Faults of nothing but what is gone from the new model are neither.
    """
    lost, unknown = [], []
    for id_ in counted[0]:
        fault = old.faults[id_]
        if fault.excluded is not None:
            continue
        there = new.faults.get(id_) if id_ in counted[1] else None
        if there is not None and there.excluded is None and there.does == fault.does:
            continue
        if id_.casefold() in _read_somewhere(old):
            unknown.append(id_)
        elif any(_is_there(effect, new) for effect in fault.effects):
            lost.append(id_)
    return tuple(lost), tuple(unknown)


def with_faults_of(old: Model, new: Model, ids: tuple[str, ...]) -> tuple[Model, tuple[str, ...]]:
    """The new model with faults of the old one beside its own, and what they are called there."""
    added = {}
    for id_ in ids:
        name = f"{id_} of the old model"
        added[name] = replace(_over(old.faults[id_], old, new), id=name, common_cause=False)
    return replace(new, faults={**new.faults, **added}), tuple(added)


def _over(fault: Fault, old: Model, new: Model) -> Fault:
    """What of a fault can strike the new model."""
    effects = []
    for effect in (e for e in fault.effects if _is_there(e, new)):
        if effect.states:
            labels = [old.machines[effect.name].states[n].casefold() for n in effect.states]
            now = [state.casefold() for state in new.machines[effect.name].states]
            states = tuple(now.index(label) for label in labels if label in now)
            effects += [replace(effect, states=states)] if states else []
        else:
            effects.append(effect)
    return replace(fault, effects=tuple(effects))


def _is_there(effect: Effect, new: Model) -> bool:
    """Whether what it acts on is there in the new model."""
    match effect.site:
        case Site.SIGNAL:
            return effect.name in new.sensors
        case Site.OUTPUT:
            return effect.name in new.outputs
        case Site.MACHINE:
            return effect.name in new.machines
        case Site.CONTROLLER:
            return True


def _read_somewhere(model: Model) -> set[str]:
    """Casefolded names that the model's expressions read."""
    return set().union(*(names_behind(model, formula.tree) for formula in _formulas(model)))


def _formulas(model: Model) -> Iterator[Formula]:
    yield from (sensor.reads for sensor in model.sensors.values())
    for move in model.moves:
        yield from move.also.values()
        if move.when is not None:
            yield move.when
    for s in model.statements.values():
        yield from (f for f in (s.p, s.s, s.when, s.opens, s.closes) if f is not None)
