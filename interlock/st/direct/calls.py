"""Calls of functions, methods, actions and instances."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.base.errors import Place, nearest
from interlock.st import syntax as sx
from interlock.st.direct.arithmetic import Arithmetic
from interlock.st.direct.blocks import INPUTS, call_block
from interlock.st.direct.callees import Action, Body, Callee, Finding, Method
from interlock.st.direct.frames import Arguments, Frame, Property
from interlock.st.direct.functions import Functions, order_of
from interlock.st.direct.kinds import ELEMENTARY, REFERENCE, Family, Kind, Value, refusal, truth
from interlock.st.direct.locate import OUTSIDE
from interlock.st.direct.making import static_key
from interlock.st.direct.project import Project
from interlock.st.direct.storage import (
    Cell,
    Elements,
    Instance,
    Standard,
    Store,
)
from interlock.st.layout import Settings

_DEEPEST = 60


class Calling(Finding):
    """Executes calls."""

    def __init__(self, project: Project, settings: Settings) -> None:
        super().__init__(project, settings)
        self.functions = Functions(self.arithmetic)

    # Calls as expressions and as statements

    def call(self, e: sx.Call, frame: Frame, hint: Kind | None = None) -> Value:
        """The value of a function or a method."""
        given = (*(sx.InputArgument("", a, a.place) for a in e.arguments), *e.named)
        arguments = Arguments(given, e.outputs)
        met = len(self.defects)
        callee = self.find_callee(e.function, e.on, frame, e.place)
        if self._is_outside(met):
            return self._unperformed(callee, Arguments((), ()), frame, e.place)
        return self._perform(callee, arguments, frame, e.place, hint)

    def invoke(self, s: sx.Invoke, frame: Frame) -> None:
        """Execute a call that stands by itself."""
        met = len(self.defects)
        callee = self.find_callee(s.instance.text, s.on, frame, s.place)
        if not self._is_outside(met):
            self._perform(callee, Arguments(s.inputs, s.outputs), frame, s.place, None)

    def _is_outside(self, met: int) -> bool:
        """Whether an index was found outside after so many defects.

        The call of an instance that is not there is dropped, as a write would be; what is tried
        out is called all the same, since another index leads to it.
        """
        if self.is_trial:
            return False
        return any(mistake.says.startswith(OUTSIDE) for mistake in self.defects[met:])

    def _perform(
        self, callee: Callee, arguments: Arguments, frame: Frame, place: Place, hint: Kind | None
    ) -> Value:
        self.depth += 1
        if self.depth > _DEEPEST:
            raise refusal(place, "calls are nested too deeply; nothing may call itself")
        enabled = True
        for given in arguments.inputs:
            if given.name.upper() == "EN":
                enabled = self.is_true(given.value, frame) or self.is_trial
        if enabled:
            found = self._performed(callee, arguments, frame, place, hint)
        else:
            found = self._unperformed(callee, arguments, frame, place)
        self.depth -= 1
        return found

    def _unperformed(
        self, callee: Callee, arguments: Arguments, frame: Frame, place: Place
    ) -> Value:
        """EN is FALSE: nothing is done, ENO is FALSE, and the value is its type's first one."""
        self._give_eno(arguments, False, frame)
        unit = callee.unit if isinstance(callee, Method) else callee
        if isinstance(unit, sx.Unit) and unit.returns is not None:
            made = self.make(unit.returns, unit.name, Frame(unit))
            return self.value_of(made, place)
        if isinstance(callee, str):
            quiet = Functions(Arithmetic(lambda *_: None, False))
            values = self._standard_values(callee, arguments, frame, None)
            found = quiet.call(callee, values, place)
            return Value(found.kind, 0.0 if found.kind.family is Family.REAL else 0)
        return truth(False)

    def _performed(
        self, callee: Callee, arguments: Arguments, frame: Frame, place: Place, hint: Kind | None
    ) -> Value:
        match callee:
            case str():
                found = self._standard(callee, arguments, frame, place, hint)
                self._give_eno(arguments, True, frame)
                return found
            case Standard():
                return self._call_block(callee, arguments, frame)
            case Instance():
                return self._call_instance(callee, callee.unit, arguments, frame)
            case Body():
                return self._call_instance(callee.instance, callee.unit, arguments, frame)
            case Action():
                shares = frame.instance is callee.instance
                inner = Frame(callee.owner, frame.names if shares else {}, callee.instance)
                self.run(callee.action.body, inner)
                return truth(True)
            case Method():
                return self._call_unit(
                    callee.unit, arguments, frame, place, callee.instance, callee.owner
                )
            case _:
                return self._call_unit(callee, arguments, frame, place, None, callee)

    def _give_eno(self, arguments: Arguments, eno: bool, frame: Frame) -> None:
        for taken in arguments.outputs:
            if taken.name.upper() == "ENO":
                self._give(taken, truth(eno), frame)

    def _give(self, taken: sx.OutputArgument, value: Value, frame: Frame) -> None:
        """Give an output of a call to the variable that takes it."""
        if taken.negated:
            value = self.arithmetic.unary("NOT", value, taken.place)
        self.assign(self.reach(taken.target, frame, writes=True), value, taken.place)

    # Standard functions and blocks

    def _standard_values(
        self, function: str, arguments: Arguments, frame: Frame, hint: Kind | None
    ) -> list[Value]:
        placed: list[tuple[int, sx.Expression]] = []
        for number, given in enumerate(arguments.inputs):
            name = given.name.upper()
            if name == "EN":
                continue
            at = order_of(function, name) if name else number
            if at is None:
                raise refusal(given.place, f"{function} has no input '{given.name}'")
            placed.append((at, given.value))
        operands = [e for _, e in placed]
        values = self.together(operands, frame, hint)
        by_place = sorted(zip((at for at, _ in placed), values, strict=True), key=lambda p: p[0])
        return [value for _, value in by_place]

    def _standard(
        self, function: str, arguments: Arguments, frame: Frame, place: Place, hint: Kind | None
    ) -> Value:
        if function in ("ADR", "REF") and len(arguments.inputs) == 1:
            found = self.reach(arguments.inputs[0].value, frame)
            if isinstance(found, Value | Property):
                raise refusal(place, f"{function} takes a variable")
            return Value(REFERENCE, found)
        if function in ("LOWER_BOUND", "UPPER_BOUND"):
            return self._bound(function, arguments, frame, place)
        values = self._standard_values(function, arguments, frame, hint)
        found_value = self.functions.call(function, values, place)
        for taken in arguments.outputs:
            if taken.name.upper() == "OUT":
                self._give(taken, found_value, frame)
        return found_value

    def _bound(self, function: str, arguments: Arguments, frame: Frame, place: Place) -> Value:
        array = self.settled(self.reach(arguments.inputs[0].value, frame), place)
        if not isinstance(array, Elements):
            raise refusal(place, f"{function} takes an array")
        number = 1
        if len(arguments.inputs) > 1:
            number = self.evaluate(arguments.inputs[1].value, frame).number
        if not 1 <= number <= len(array.spans):
            raise refusal(place, f"the array has {len(array.spans)} indexes")
        lo, hi = array.spans[number - 1]
        return Value(ELEMENTARY["DINT"], lo if function == "LOWER_BOUND" else hi)

    def _call_block(self, block: Standard, arguments: Arguments, frame: Frame) -> Value:
        names = INPUTS[block.block]
        given: list[tuple[Cell, Value, sx.InputArgument]] = []
        for number, argument in enumerate(arguments.inputs):
            if argument.name.upper() == "EN":
                continue
            name = argument.name or (names[number] if number < len(names) else "")
            cell = self.member(block, name, argument.place)
            if not isinstance(cell, Cell):
                raise refusal(argument.place, f"'{name}' is no input of {block.block}")
            given.append((cell, self.evaluate(argument.value, frame), argument))
        for cell, value, argument in given:
            cell.write(value, argument.value.place, self.arithmetic)
        call_block(block, self.settings)
        for taken in arguments.outputs:
            if taken.name.upper() != "ENO":
                found = self.member(block, taken.name, taken.place)
                self._give(taken, self.value_of(found, taken.place), frame)
        self._give_eno(arguments, True, frame)
        return truth(True)

    def call_standard(self, block: Standard) -> None:
        """Execute a standard block once on the inputs that it has."""
        call_block(block, self.settings)

    # Users' units

    def _parameters(self, unit: sx.Unit) -> Iterator[tuple[sx.Declaration, sx.Name]]:
        for _, declaration in self.project.declarations(unit):
            if declaration.kind in ("VAR_INPUT", "VAR_OUTPUT", "VAR_IN_OUT"):
                for variable in declaration.names:
                    yield declaration, variable

    def _bound_arguments(
        self,
        unit: sx.Unit,
        arguments: Arguments,
        frame: Frame,
        instance: Instance | None = None,
    ) -> tuple[dict[str, Value], dict[str, Store], list[tuple[str, sx.OutputArgument]]]:
        """What a call gives, by casefolded name: values, the caller's variables, and takers.

        An instance gets its inputs at once, one after the other.
        """
        parameters = list(self._parameters(unit))
        kinds = {name.text.casefold(): declaration for declaration, name in parameters}
        values: dict[str, Value] = {}
        variables: dict[str, Store] = {}
        takers = [(t.name.casefold(), t) for t in arguments.outputs if t.name.upper() != "ENO"]
        at = 0
        for given in arguments.inputs:
            key = given.name.casefold()
            if key == "en" and key not in kinds:
                continue
            if not key:
                if at >= len(parameters):
                    raise refusal(given.place, f"'{unit.name}' takes {len(parameters)} arguments")
                key = parameters[at][1].text.casefold()
                at += 1
            if key not in kinds:
                near = nearest(given.name, [name.text for _, name in parameters])
                raise refusal(given.place, f"'{unit.name}' has no input '{given.name}'{near}")
            self._bind(kinds[key], key, given, frame, (values, variables, takers))
            if instance is not None and key in values:
                target = instance.raw.get(key) or instance.members[key]
                self.assign(target, values.pop(key), given.place)
        return values, variables, takers

    def _bind(
        self,
        declaration: sx.Declaration,
        key: str,
        given: sx.InputArgument,
        frame: Frame,
        found: tuple[dict[str, Value], dict[str, Store], list[tuple[str, sx.OutputArgument]]],
    ) -> None:
        values, variables, takers = found
        if declaration.kind == "VAR_INPUT":
            values[key] = self.evaluate(given.value, frame, self._hint(declaration))
        elif declaration.kind == "VAR_IN_OUT":
            store = self.reach(given.value, frame, writes=True)
            if isinstance(store, Property | Value):
                raise refusal(given.place, f"'{key}' is VAR_IN_OUT and needs a variable")
            variables[key] = store
        else:
            target = given.value
            if not isinstance(target, sx.Name | sx.Element | sx.Member | sx.Direct | sx.Pointed):
                raise refusal(given.place, f"'{key}' is an output and needs a variable")
            takers.append((key, sx.OutputArgument(key, target, given.place)))

    def _hint(self, declaration: sx.Declaration) -> Kind | None:
        defined = self.project.type(declaration.type.name)
        if defined is None or not defined.type.labels:
            return None
        owners = self.labels.get(defined.type.labels[0].name.casefold(), [])
        wanted = defined.name.casefold()
        return next((kind for kind in owners if kind.name.casefold() == wanted), None)

    def _call_unit(
        self,
        unit: sx.Unit,
        arguments: Arguments,
        frame: Frame,
        place: Place,
        instance: Instance | None,
        owner: sx.Unit,
    ) -> Value:
        """A FUNCTION or METHOD: its variables live as long as the call."""
        values, variables, takers = self._bound_arguments(unit, arguments, frame)
        inner = Frame(owner, {}, instance)
        self._open(unit, inner, values, variables)
        result: Store | None = None
        if unit.returns is not None and unit.kind != "SET":
            result = self.make(unit.returns, unit.name, inner)
            inner.names[_own_name(unit)] = result
        self.run(unit.body, inner)
        for key, taken in takers:
            if key not in inner.names:
                raise refusal(taken.place, f"'{unit.name}' has no output '{taken.name}'")
            self._give(taken, self.value_of(inner.names[key], taken.place), frame)
        eno = inner.names.get("eno")
        self._give_eno(arguments, bool(eno.content) if isinstance(eno, Cell) else True, frame)
        return truth(True) if result is None else self.value_of(result, place)

    def _open(
        self,
        unit: sx.Unit,
        inner: Frame,
        values: dict[str, Value],
        variables: dict[str, Store],
    ) -> None:
        """Make the variables of a call."""
        for declaration in unit.declarations:
            for variable in declaration.names:
                key = variable.text.casefold()
                if declaration.kind == "VAR_EXTERNAL":
                    continue
                if declaration.kind == "VAR_IN_OUT":
                    if key in variables:
                        inner.names[key] = variables[key]
                    continue
                if declaration.kind in ("VAR_STAT", "VAR_INST"):
                    inner.names[key] = self._static(unit, declaration.kind, variable, inner)
                    continue
                made = self.declared(declaration, variable, "", inner)
                inner.names[key] = made
                if key in values:
                    self.assign(made, values[key], variable.place)
                elif key == "eno" and declaration.initial is None and isinstance(made, Cell):
                    made.content = 1

    def _static(self, unit: sx.Unit, kind: str, variable: sx.Name, inner: Frame) -> Store:
        is_own = kind == "VAR_INST" and inner.instance is not None
        kept = inner.instance.inner if is_own and inner.instance else self.statics
        return kept[static_key(inner.owner, unit, variable)]

    def _call_instance(
        self, instance: Instance, unit: sx.Unit, arguments: Arguments, frame: Frame
    ) -> Value:
        _, variables, takers = self._bound_arguments(unit, arguments, frame, instance)
        instance.members.update(variables)
        self.run_unit(instance, unit)
        for key, taken in takers:
            found = self.member(instance, key, taken.place)
            self._give(taken, self.value_of(found, taken.place), frame)
        eno = instance.members.get("eno")
        self._give_eno(arguments, bool(eno.content) if isinstance(eno, Cell) else True, frame)
        return truth(True)

    def run_unit(self, instance: Instance, unit: sx.Unit) -> None:
        """Execute the body of `unit`, which `instance` is one of, once."""
        for key, given in instance.raw.items():
            edge = instance.inner[f"{key}.edge"]
            assert isinstance(edge, Standard)
            edge.members["CLK"].content = given.content
            call_block(edge, self.settings)
        frame = Frame(unit, {}, instance)
        self.temporaries(unit, frame)
        if unit.chart is not None:
            self.run_chart(unit.chart, frame)
        self.run(unit.body, frame)

    # Properties

    def get(self, property_: Property, place: Place) -> Value:
        """The value of a property."""
        found = self.project.method(property_.instance.unit, property_.name, "GET")
        if found is None:
            raise refusal(place, f"the property '{property_.name}' cannot be read")
        return self._perform(
            Method(*found, property_.instance),
            Arguments((), ()),
            Frame(found[0], {}, property_.instance),
            place,
            None,
        )

    def set(self, property_: Property, value: Value, place: Place) -> None:
        """Write a property."""
        found = self.project.method(property_.instance.unit, property_.name, "SET")
        if found is None or found[1].returns is None:
            raise refusal(place, f"the property '{property_.name}' cannot be written")
        owner, unit = found
        inner = Frame(owner, {}, property_.instance)
        self._open(unit, inner, {}, {})
        given = self.make(found[1].returns, unit.name, inner)
        inner.names[_own_name(unit)] = given
        self.assign(given, value, place)
        self.run(unit.body, inner)


def _own_name(unit: sx.Unit) -> str:
    return unit.name.casefold().rpartition(".")[2]
