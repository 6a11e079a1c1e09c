"""What each expression of a model may name, and the collecting of mistakes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field, replace
from functools import cached_property
from types import TracebackType

from interlock.base.errors import InputError, Mistake, MistakeList, Place, nearest
from interlock.model.model import Formula, Machine
from interlock.model.schema import ModelShape
from interlock.model.yaml import Document, Path
from interlock.st.check import check_expression
from interlock.st.evaluate import reads_of
from interlock.st.parser import parse_expression
from interlock.st.typed import Expression, LeftOut
from interlock.st.types import BOOL, EnumType, Scope, Type
from interlock.st.words import RESERVED

MAX_TERMS_DEEP = 60
_MOST_SHOWN = 3


@dataclass
class Mistakes:
    """Mistakes found so far; loading goes on to find them all."""

    found: MistakeList = field(default_factory=MistakeList)

    def add(self, place: Place, says: str) -> None:
        """Note a mistake."""
        self.found.append(Mistake(place, says))

    def collected(self) -> _Collecting:
        """A block that an `InputError` may end; its mistakes are noted and the work goes on."""
        return _Collecting(self.found)

    def explain(self, left_out: Iterable[LeftOut]) -> None:
        """Say once for each reason, where it lies, why what is asked for was left out."""
        reasons: dict[Mistake, list[tuple[str, Place]]] = {}
        for left in left_out:
            of_it = f"'{left.name}' is not ".casefold()
            asked = [m for m in self.found if m.says.casefold().startswith(of_it)]
            for mistake in asked:
                self.found.remove(mistake)
                reasons.setdefault(left.why, []).append((left.name, mistake.place))
        for why, lost in reasons.items():
            names = list(dict.fromkeys(f"'{name}'" for name, _ in lost))
            shown = ", ".join(names[:_MOST_SHOWN]) + (", …" if len(names) > _MOST_SHOWN else "")
            verb = "is" if len(names) == 1 else "are"
            says = f"{shown} {verb} left out, which {lost[0][1]} needs: {why.says}"
            self.found.append(Mistake(why.place, says))

    def raise_if_any(self) -> None:
        """Raise an `InputError` with everything noted."""
        if self.found:
            raise InputError(self.found)


class _Collecting(AbstractContextManager[None, bool]):
    def __init__(self, found: MistakeList) -> None:
        self._found = found

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> bool:
        if isinstance(error, InputError):
            self._found.extend(error.mistakes)
            return True
        return False


def is_reserved(name: str) -> bool:
    """Whether expressions could not use `name`, because Structured Text has a use for it."""
    return name.upper() in RESERVED


def type_of(machine: Machine) -> Type:
    """The type that expressions see: an enumeration named after the machine, or BOOL."""
    if machine.is_bool:
        return BOOL
    classes = None if machine.bands is None else machine.bands.classes
    return EnumType(machine.name, machine.states, classes=classes)


@dataclass
class Names:
    """Every name of a model and the scopes that they make.

    Attributes
    ----------
    machines : mapping of str to Machine
        Plant machines and controls.
    inputs, outputs : mapping of str to Type
        The program's inputs and outputs, as it spells them.
    inside : mapping of str to Type
        What requirements may name inside the program, as ``program.block.step``.
    others : mapping of str to tuple of str
        Further ways to write what the program has, casefolded, each with its possible names.
    terms : dict of str to Formula
        Grows while the terms are checked.
    formulas : list of Formula
        Everything that was checked so far.
    """

    document: Document
    shape: ModelShape
    mistakes: Mistakes
    machines: Mapping[str, Machine]
    inputs: Mapping[str, Type]
    outputs: Mapping[str, Type]
    inside: Mapping[str, Type] = field(default_factory=dict)
    others: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    terms: dict[str, Formula] = field(default_factory=dict)
    formulas: list[Formula] = field(default_factory=list)
    _open: list[str] = field(default_factory=list)
    _failed: set[str] = field(default_factory=set)
    _scopes: dict[frozenset[tuple[str, Type]], Scope] = field(default_factory=dict)
    _too_deep: bool = False

    def formula(
        self,
        path: Path,
        text: str,
        names: Mapping[str, Type],
        expected: Type | None = BOOL,
        is_key: bool = False,
    ) -> Formula | None:
        """Check the expression at `path` over `names` and the terms it uses.

        With None for `expected` every type will do; with `is_key` the expression is the key at
        `path`. A mistake is noted and gives None.
        """
        place = self.document.key_place(path) if is_key else self.document.place(path)

        def locate(offset: int) -> Place:
            if is_key:
                return Place(place.file, place.line, place.column + offset)
            return self.document.place(path, offset)

        with self.mistakes.collected():
            parsed = parse_expression(text, locate=locate)
            tree = check_expression(parsed, self._scope(names), expected, divides_surely=True)
            for used in self._terms_in(tree):
                if not self.term(used, place):
                    return None
            found = Formula(" ".join(text.split()), place, tree)
            self.formulas.append(found)
            return found
        return None

    def _scope(self, names: Mapping[str, Type]) -> Scope:
        """The scope of `names` and all terms, made once."""
        key = frozenset(names.items())
        if key not in self._scopes:
            whole = {**names, **dict.fromkeys(self.shape.terms, BOOL)}
            self._scopes[key] = self._with_others(Scope.of(whole, self._enums()))
        return self._scopes[key]

    def _with_others(self, scope: Scope) -> Scope:
        """`scope` with the other ways to write what it has, where these mean nothing else."""
        sections = (self.shape.faults, self.shape.sensors, self.shape.controls, self.shape.power)
        taken = {name.casefold() for section in sections for name in section}
        found = dict(scope.variables)
        for other, names in self.others.items():
            meant = next((v for v in map(scope.find, names) if v is not None), None)
            if meant is not None and other not in taken and not scope.owners_of(other):
                found.setdefault(other, meant)
        return replace(scope, variables=found)

    def _enums(self) -> list[EnumType]:
        types = [type_of(machine) for machine in self.machines.values()]
        return [t for t in types if isinstance(t, EnumType)]

    def _terms_in(self, tree: Expression) -> list[str]:
        """The terms that an expression reads.

        A term may have the name of a state: where a state is compared, its type says which is
        meant, so only what is read as a name counts.
        """
        folded = self._folded_terms
        read = {name.name.casefold() for name in reads_of(tree)}
        return [name for _, name in sorted(folded[name] for name in read if name in folded)]

    @cached_property
    def _folded_terms(self) -> dict[str, tuple[int, str]]:
        """Each term with its number, by what it is called in any case of letters."""
        return {name.casefold(): (n, name) for n, name in enumerate(self.shape.terms)}

    def term(self, name: str, used_at: Place) -> bool:
        """Check the term called `name` if it was not yet; tell whether it can be used."""
        if name in self.terms:
            return True
        if name in self._failed:
            return False
        if name in self._open:
            circle = " -> ".join([*self._open[self._open.index(name) :], name])
            self.mistakes.add(used_at, f"terms define each other in a circle: {circle}")
            return False
        if len(self._open) >= MAX_TERMS_DEEP:
            if not self._too_deep:
                said = f"terms build on each other more than {MAX_TERMS_DEEP} deep"
                self.mistakes.add(used_at, said)
            self._too_deep = True
            return False
        self._open.append(name)
        found = self.formula(("terms", name), self.shape.terms[name], self.physical())
        self._open.pop()
        if found is None:
            self._failed.add(name)
            return False
        self.terms[name] = found
        return True

    @cached_property
    def read_by_sensors(self) -> tuple[str, ...]:
        """The sensors that read something; the inputs of all others are free."""
        return tuple(n for n, shape in self.shape.sensors.items() if shape.reads is not None)

    def truth(self) -> dict[str, Type]:
        """Plant, controls, outputs and free inputs: what requirements speak of, besides terms."""
        machines = {n: type_of(m) for n, m in self.machines.items() if not m.is_free}
        return {**self._free(machines), **machines, **self.outputs}

    def _free(self, machines: Mapping[str, Type]) -> dict[str, Type]:
        """Inputs that no sensor stands before: they are what they read."""
        given = {name.casefold() for name in self.read_by_sensors}
        taken = {name.casefold() for name in (*machines, *self.shape.terms, *self.outputs)}
        return {n: t for n, t in self.inputs.items() if n.casefold() not in given | taken}

    def physical(self) -> dict[str, Type]:
        """The truth and the faults: what terms, guards and sensors depend on."""
        return {**self.truth(), **dict.fromkeys(self.shape.faults, BOOL)}

    def asked(self) -> dict[str, Type]:
        """The truth and, by their paths, variables inside the program."""
        return {**self.inside, **self.truth()}

    def with_signals(self) -> dict[str, Type]:
        """What requirements speak of and those signals whose names are not taken by it."""
        truth = self.asked()
        taken = {name.casefold() for name in (*truth, *self.shape.terms)}
        free = {n: type_ for n, type_ in self.inputs.items() if n.casefold() not in taken}
        return {**free, **truth}

    def hint_at_truth(self, mistake: Mistake) -> Mistake:
        """Say why a signal or a fault cannot be named here, where one was named."""
        for name in self.shape.faults:
            if mistake.says.startswith(f"'{name}' is not declared"):
                said = f"'{name}' is a fault, and requirements speak of what it does to the truth; "
                return Mistake(mistake.place, said + "a term may read it, and be named here")
        for name in self.read_by_sensors:
            if mistake.says.startswith(f"'{name}' is not declared"):
                said = (
                    f"'{name}' is a signal, which may lie; requirements speak of plant truth "
                    "('about: signals' lifts this)"
                )
                return Mistake(mistake.place, said)
        return mistake

    def check_unique(self) -> None:
        """Note every name that two of machines, outputs, terms and faults share.

        Signals may have the name of what they tell of, but not that of another signal.
        """
        seen: dict[str, str] = {}
        sections: list[tuple[str, list[str]]] = [
            ("plant", list(self.shape.plant)),
            ("controls", list(self.shape.controls)),
            ("quantities", list(self.shape.quantities)),
            ("terms", list(self.shape.terms)),
            ("faults", list(self.shape.faults)),
        ]
        for name in self.outputs:
            seen[name.casefold()] = "an output of the controller"
        for name in self.shape.controllers:
            seen.setdefault(name.casefold(), "a controller")
        for section, names in sections:
            for name in names:
                self._check_name(section, name, seen)
        for quantity, given in self.shape.quantities.items():
            for name in given.switches:
                self._check_name(f"quantities.{quantity}.switches", name, seen)
        for section in ("sensors", "outputs"):
            alone: dict[str, str] = {}
            for name in getattr(self.shape, section):
                self._check_name(section, name, alone)

    def _check_name(self, section: str, name: str, seen: dict[str, str]) -> None:
        place = self.document.key_place((*section.split("."), name))
        if is_reserved(name):
            self.mistakes.add(place, f"'{name}' is a reserved word and cannot be a name")
        elif name.casefold() in seen:
            taken = seen[name.casefold()]
            self.mistakes.add(place, f"the name '{name}' is taken by {taken}")
        seen.setdefault(name.casefold(), f"'{section}' in line {place.line}")

    def known(self, name: str, among: Mapping[str, object], path: Path, kind: str) -> bool:
        """Whether `name` is one of `among`; if not, note it with the nearest known name.

        `path` leads to the name, or to the value whose key it is.
        """
        if name in among:
            return True
        is_key = path[-1] == name
        place = self.document.key_place(path) if is_key else self.document.place(path)
        self.mistakes.add(place, f"'{name}' is not {kind}{nearest(name, among)}")
        return False
