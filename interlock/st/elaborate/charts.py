"""Charts in text: steps are flags, and each scan executes actions and then clears transitions.

An action is controlled as the body of the action control in IEC 61131-3 reads: by stored,
limited, delayed and pulsed requests of its steps. It is executed once more after it was active.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from interlock.base.errors import Place, nearest
from interlock.st import syntax as sx
from interlock.st.elaborate.callees import Callee
from interlock.st.elaborate.shapes import Field, Located, Scalar, Standard, Structure, Unknown
from interlock.st.elaborate.state import Frame
from interlock.st.elaborate.step_times import STEP_TIME, StepTimes, seen_path

# Which standard blocks the control of an action needs for each qualifier (from memory).
_BLOCKS: dict[str, tuple[tuple[str, str], ...]] = {
    "N": (),
    "R": (),
    "S": (("S_FF", "RS"),),
    "L": (("L_TMR", "TON"),),
    "D": (("D_TMR", "TON"),),
    "P": (("P_TRIG", "R_TRIG"),),
    "P1": (("P1_TRIG", "R_TRIG"),),
    "P0": (),
    "SD": (("SD_FF", "RS"), ("SD_TMR", "TON")),
    "DS": (("DS_TMR", "TON"), ("DS_FF", "RS")),
    "SL": (("SL_FF", "RS"), ("SL_TMR", "TON")),
}
_TIMED = frozenset(("L", "D", "SD", "DS", "SL"))
_Uses = Sequence[tuple[sx.Step, sx.ActionUse]]


class Charts(StepTimes):
    """Reads charts."""

    # Memory

    def declare_chart(self, unit: sx.Unit, frame: Frame) -> None:
        """Declare what the chart of `unit` remembers in an instance of it."""
        assert unit.chart is not None
        before = f"{frame.path}." if frame.path else ""
        for step in unit.chart.steps:
            path = before + step.name
            self._remember(f"{path}.X", step.initial, step.place)
            place = step.place
            active = Field("X", Scalar(sx.TypeRef("BOOL", None, None, place)), None, place)
            time = Field("T", Unknown(STEP_TIME), None, place)
            shape = Structure(step.name, (active, time))
            frame.names[step.name.casefold()] = Located(path, shape)
            timers = list(self.timers_of(path))
            if timers:
                self._remember(seen_path(path), False, place)
            for timer in timers:
                type_ = sx.TypeRef("TON", None, None, place)
                like = sx.Declaration("VAR", False, (), type_, None, place)
                self.add(timer, Standard("TON"), None, frame, like)
        for uses in _uses(unit.chart).values():
            use = uses[0][1]
            path = before + use.name
            self._remember(f"{path}.Q", False, use.place)
            qualifiers = {self._qualifier(other) for _, other in uses}
            type_ = sx.TypeRef("BOOL", None, None, use.place)
            like = sx.Declaration("VAR", False, (), type_, None, use.place)
            for qualifier in sorted(qualifiers):
                for name, block in _BLOCKS[qualifier]:
                    self.add(f"{path}.{name}", Standard(block), None, frame, like)
            if "P0" in qualifiers:
                self._remember(f"{path}.P0_TRIG.M", True, use.place)
                self._remember(f"{path}.P0_TRIG.Q", False, use.place)

    def _remember(self, path: str, initial: bool, place: Place) -> None:
        type_ = sx.TypeRef("BOOL", None, None, place)
        name, value = sx.Name(path, place), sx.Truth(initial, place)
        if path not in self.reading.found.unknown:
            self.reading.declarations.append(
                sx.Declaration("VAR", False, (name,), type_, value, place)
            )

    def _qualifier(self, use: sx.ActionUse) -> str:
        qualifier = use.qualifier.upper() or "N"
        if qualifier == "DL":
            says = (
                "the qualifier DL stands in the exchange format and has no meaning in IEC 61131-3"
            )
            raise self.reading.refuse(use.place, f"{says}; use D or L, each in a step of its own")
        if qualifier not in _BLOCKS:
            says = f"the qualifier '{use.qualifier}' is not known; known: {', '.join(_BLOCKS)}"
            raise self.reading.refuse(use.place, says)
        if qualifier in _TIMED and use.duration is None:
            raise self.reading.refuse(use.place, f"the qualifier {qualifier} needs a time")
        return qualifier

    # Code

    def chart(self, unit: sx.Unit, own: Frame, out: list[sx.Statement]) -> None:
        """Read a chart: first its actions, then its transitions."""
        assert unit.chart is not None
        before = f"{own.path}." if own.path else ""
        for step in unit.chart.steps:
            path = before + step.name
            out += self.time_counted(path, sx.Name(f"{path}.X", step.place))
        for uses in _uses(unit.chart).values():
            self._control(uses, unit, own, out)
        self._evolve(unit.chart, own, out)

    def _flag_of(self, step: str, frame: Frame, place: Place) -> sx.Expression:
        at = frame.find(step)
        if not isinstance(at, Located) or not isinstance(at.shape, Structure):
            raise self.reading.refuse(
                place, f"there is no step '{step}'{nearest(step, frame.known())}"
            )
        self.check_known(f"{at.path}.X")
        return sx.Name(f"{at.path}.X", place)

    def _evolve(self, chart: sx.Chart, own: Frame, out: list[sx.Statement]) -> None:
        in_order = sorted(
            enumerate(chart.transitions),
            key=lambda pair: (pair[1].priority is None, pair[1].priority or 0, pair[0]),
        )
        cleared: list[tuple[sx.Name, sx.Transition]] = []
        for _, transition in in_order:
            cleared.append((self._test(transition, cleared, own, out), transition))
        for names_of, value in (("sources", False), ("targets", True)):
            for flag, transition in cleared:
                place = transition.place
                body: tuple[sx.Statement, ...] = tuple(
                    sx.Assign(
                        self._flag_of(name.text, own, name.place),  # type: ignore[arg-type]
                        sx.Truth(value, place),
                        place,
                    )
                    for name in getattr(transition, names_of)
                )
                if value:
                    body += self._times_anew(transition, own)
                out.append(sx.If((sx.Branch(flag, body, place),), (), place))

    def _times_anew(self, transition: sx.Transition, own: Frame) -> tuple[sx.Statement, ...]:
        """Let the times of the steps that a transition enters begin anew."""
        found: tuple[sx.Statement, ...] = ()
        for name in transition.targets:
            at = own.names[name.text.casefold()]
            assert isinstance(at, Located)
            found += self.timers_called(at.path, False, name.place)
        return found

    def _test(
        self,
        transition: sx.Transition,
        before: Iterable[tuple[sx.Name, sx.Transition]],
        own: Frame,
        out: list[sx.Statement],
    ) -> sx.Name:
        """Whether a transition is cleared: one before it may have taken a step of its."""
        place = transition.place
        names = {name.text.casefold() for name in transition.sources}
        parts: list[sx.Expression] = [
            self._flag_of(name.text, own, name.place) for name in transition.sources
        ]
        for flag, other in before:
            if names & {name.text.casefold() for name in other.sources}:
                parts.append(sx.Unary("NOT", flag, place))
        fires = self.temporary("CLEARED", sx.TypeRef("BOOL", None, None, place), place)
        inner: list[sx.Statement] = []
        condition = self.value(transition.condition, own, inner)
        if not inner:
            out.append(sx.Assign(fires, _all((*parts, condition), place), place))
            return fires
        inner.append(sx.Assign(fires, condition, place))
        out.append(sx.Assign(fires, _all(parts, place), place))
        out.append(sx.If((sx.Branch(fires, tuple(inner), place),), (), place))
        return fires

    # Actions

    def _control(self, uses: _Uses, unit: sx.Unit, own: Frame, out: list[sx.Statement]) -> None:
        use = uses[0][1]
        place = use.place
        path = (f"{own.path}." if own.path else "") + use.name
        asked: dict[str, list[sx.Expression]] = {}
        times: dict[str, list[sx.ActionUse]] = {}
        for step, one in uses:
            qualifier = self._qualifier(one)
            asked.setdefault(qualifier, []).append(self._flag_of(step.name, own, one.place))
            times.setdefault(qualifier, []).append(one)
        requests = {qualifier: _any(flags, place) for qualifier, flags in asked.items()}
        presets = {
            qualifier: self._preset(times[qualifier], asked[qualifier], qualifier, own, out)
            for qualifier in times
            if qualifier in _TIMED
        }
        reset = requests.get("R", sx.Truth(False, place))
        control = _Control(path, place, requests, presets, reset)
        active, pulsed = control.write(out)
        is_active = self.temporary("ACTIVE", sx.TypeRef("BOOL", None, None, place), place)
        out.append(sx.Assign(is_active, active, place))
        last = sx.Name(f"{path}.Q", place)
        runs = _any((is_active, last, pulsed), place)
        action = next((a for a in unit.actions if a.name.casefold() == use.name.casefold()), None)
        if action is None:
            at = own.find(use.name) or self.global_reference(use.name)
            if at is None:
                known = [a.name for a in unit.actions]
                says = f"'{use.name}' is neither an action nor a variable{nearest(use.name, known)}"
                raise self.reading.refuse(place, says)
            self.write(at, _any((is_active, pulsed), place), out, place)
        else:
            body: list[sx.Statement] = []
            self.run_action(Callee(action=action), own, body)
            out.append(sx.If((sx.Branch(runs, tuple(body), place),), (), place))
        out.append(sx.Assign(last, is_active, place))

    def _preset(
        self,
        uses: Sequence[sx.ActionUse],
        flags: Sequence[sx.Expression],
        qualifier: str,
        own: Frame,
        out: list[sx.Statement],
    ) -> sx.Expression:
        values = [self.value(use.duration, own, out) for use in uses if use.duration is not None]
        found = values[-1]
        if qualifier in ("SD", "SL") and any(value != found for value in values):
            says = f"the times of the stored action '{uses[0].name}' differ from step to step"
            raise self.reading.refuse(uses[0].place, says)
        for value, flag in reversed(list(zip(values[:-1], flags[:-1], strict=True))):
            if value != found:
                found = sx.Call("SEL", (flag, found, value), uses[0].place)
        return found


class _Control:
    """The control of one action.

    Parameters
    ----------
    path : str
        What the names of its blocks begin with.
    place : Place
    requests : dict of str to syntax.Expression
        Whether an active step asks for the action, by qualifier.
    presets : dict of str to syntax.Expression
        The time that goes with a qualifier.
    reset : syntax.Expression
    """

    def __init__(
        self,
        path: str,
        place: Place,
        requests: dict[str, sx.Expression],
        presets: dict[str, sx.Expression],
        reset: sx.Expression,
    ) -> None:
        self._path, self._place = path, place
        self._requests, self._presets, self._reset = requests, presets, reset
        self._out: list[sx.Statement] = []

    def write(self, out: list[sx.Statement]) -> tuple[sx.Expression, sx.Expression]:
        """Whether the action is active, and whether a pulse executes it without a last scan."""
        self._out = out
        in_order = ("N", "S", "L", "D", "P", "SD", "DS", "SL")
        ways = [self._way(q, self._requests[q]) for q in in_order if q in self._requests]
        pulses = [self._pulse(q, self._requests[q]) for q in ("P1", "P0") if q in self._requests]
        free = sx.Unary("NOT", self._reset, self._place)
        active = _all((free, _any(ways, self._place)), self._place)
        pulsed = _all((free, _any(pulses, self._place)), self._place)
        return active, pulsed

    def _way(self, qualifier: str, asked: sx.Expression) -> sx.Expression:
        place = self._place
        match qualifier:
            case "S":
                return self._call("S_FF", "Q1", S=asked, R1=self._reset)
            case "L":
                over = self._call("L_TMR", "Q", IN=asked, PT=self._presets["L"])
                return _all((asked, sx.Unary("NOT", over, place)), place)
            case "D":
                return self._call("D_TMR", "Q", IN=asked, PT=self._presets["D"])
            case "P":
                return self._call("P_TRIG", "Q", CLK=asked)
            case "SD":
                stored = self._call("SD_FF", "Q1", S=asked, R1=self._reset)
                return self._call("SD_TMR", "Q", IN=stored, PT=self._presets["SD"])
            case "DS":
                over = self._call("DS_TMR", "Q", IN=asked, PT=self._presets["DS"])
                return self._call("DS_FF", "Q1", S=over, R1=self._reset)
            case "SL":
                stored = self._call("SL_FF", "Q1", S=asked, R1=self._reset)
                over = self._call("SL_TMR", "Q", IN=stored, PT=self._presets["SL"])
                return _all((stored, sx.Unary("NOT", over, place)), place)
            case _:
                return asked

    def _pulse(self, qualifier: str, asked: sx.Expression) -> sx.Expression:
        if qualifier == "P1":
            return self._call("P1_TRIG", "Q", CLK=asked)
        # A falling edge; what was never active does not end.
        place = self._place
        memory = sx.Name(f"{self._path}.P0_TRIG.M", place)
        pulse = sx.Name(f"{self._path}.P0_TRIG.Q", place)
        none = sx.Unary("NOT", asked, place)
        self._out.append(
            sx.Assign(pulse, _all((none, sx.Unary("NOT", memory, place)), place), place)
        )
        self._out.append(sx.Assign(memory, none, place))
        return pulse

    def _call(self, block: str, output: str, **inputs: sx.Expression) -> sx.Expression:
        place = self._place
        given = tuple(sx.InputArgument(name, value, place) for name, value in inputs.items())
        instance = sx.Name(f"{self._path}.{block}", place)
        self._out.append(sx.Invoke(instance, given, (), place))
        return sx.Name(f"{self._path}.{block}.{output}", place)


def _uses(chart: sx.Chart) -> dict[str, list[tuple[sx.Step, sx.ActionUse]]]:
    """Each action in the order of the text, with the steps that use it."""
    found: dict[str, list[tuple[sx.Step, sx.ActionUse]]] = {}
    for step in chart.steps:
        for use in step.actions:
            found.setdefault(use.name.casefold(), []).append((step, use))
    return found


def _all(parts: Iterable[sx.Expression], place: Place) -> sx.Expression:
    kept = [p for p in parts if p != sx.Truth(True, place)]
    if not kept:
        return sx.Truth(True, place)
    return kept[0] if len(kept) == 1 else sx.Junction("AND", tuple(kept), place)


def _any(parts: Iterable[sx.Expression], place: Place) -> sx.Expression:
    kept = [p for p in parts if p != sx.Truth(False, place)]
    if not kept:
        return sx.Truth(False, place)
    return kept[0] if len(kept) == 1 else sx.Junction("OR", tuple(kept), place)
