"""Sequential function charts, executed call by call.

A call first executes the actions of the steps that are active and then clears transitions, so the
conditions after a step are tested only when its actions have had their effect (IEC 61131-3).
"""

from __future__ import annotations

from collections.abc import Sequence

from interlock.st import syntax as sx
from interlock.st.direct.blocks import call_block
from interlock.st.direct.charts_memory import NEEDS, control_key, uses_of
from interlock.st.direct.frames import Frame
from interlock.st.direct.kinds import refusal, truth
from interlock.st.direct.making import Making
from interlock.st.direct.storage import Cell, Instance, Record, Standard

_Uses = Sequence[tuple[sx.Step, sx.ActionUse]]


class Charting(Making):
    """Executes charts."""

    def run_chart(self, chart: sx.Chart, frame: Frame) -> None:
        """Execute the actions of the active steps, then go on to the next steps."""
        assert frame.instance is not None
        if self.is_counted:
            for step in chart.steps:
                self._see_time(step, frame.instance)
        for uses in uses_of(chart).values():
            self._control(uses, frame, frame.instance)
        self._evolve(chart, frame, frame.instance)

    # Steps and transitions

    def _active(self, instance: Instance, step: str) -> Cell | None:
        record = instance.inner.get(step.casefold())
        cell = record.members.get("x") if isinstance(record, Record) else None
        return cell if isinstance(cell, Cell) else None

    def _step(self, instance: Instance, name: sx.Name) -> Cell:
        cell = self._active(instance, name.text)
        if cell is None:
            raise refusal(name.place, f"there is no step '{name.text}'")
        return cell

    def _see_time(self, step: sx.Step, instance: Instance) -> None:
        """Start the time of a step that is active and was not, or was left and entered again."""
        record = instance.inner[step.name.casefold()]
        assert isinstance(record, Record)
        active, time, seen = (record.members[part] for part in ("x", "t", "seen"))
        assert isinstance(active, Cell)
        assert isinstance(time, Cell)
        assert isinstance(seen, Cell)
        if active.content and not seen.content:
            time.content = 0
        seen.content = active.content

    def _evolve(self, chart: sx.Chart, frame: Frame, instance: Instance) -> None:
        """Clear transitions: of several from one step the leftmost, unless PRIORITY says other."""
        ordered = sorted(
            enumerate(chart.transitions),
            key=lambda pair: (pair[1].priority is None, pair[1].priority or 0, pair[0]),
        )
        left: set[str] = set()
        cleared: list[sx.Transition] = []
        for _, transition in ordered:
            sources = {name.text.casefold() for name in transition.sources}
            enabled = all(self._step(instance, name).content for name in transition.sources)
            if self.is_trial:
                self.is_true(transition.condition, frame)
            elif enabled and not sources & left and self.is_true(transition.condition, frame):
                self.executed.append(transition.place)
                left |= sources
                cleared.append(transition)
        for transition in cleared:
            for name in transition.sources:
                self._step(instance, name).content = 0
        for transition in cleared:
            for name in transition.targets:
                self._step(instance, name).content = 1
                record = instance.inner[name.text.casefold()]
                seen = record.members.get("seen") if isinstance(record, Record) else None
                if isinstance(seen, Cell):
                    seen.content = 0

    # Actions

    def _control(self, uses: _Uses, frame: Frame, instance: Instance) -> None:
        """One action's control: whether it is active, and its execution."""
        name = uses[0][1].name
        record = instance.inner[control_key(name)]
        assert isinstance(record, Record)
        asked = self._asked(uses, frame, instance, record)
        q, pulses = self._decide(record, asked)
        last = record.members["q"]
        assert isinstance(last, Cell)
        ends = bool(last.content) and not q
        last.content = int(q)
        variable = self.variable(name.casefold(), frame)
        found = self.project.action(instance.unit, name)
        if found is not None:
            # An action is executed once more, its final scan, after it was active.
            if q or ends or pulses or self.is_trial:
                self.executed.append(uses[0][1].place)
                owner, action = found
                self.run(action.body, Frame(owner, frame.names, instance))
        elif isinstance(variable, Cell):
            variable.write(truth(q or pulses), uses[0][1].place, self.arithmetic)
            self.writes[id(variable)] = uses[0][1].place
        else:
            raise refusal(uses[0][1].place, f"'{name}' is neither an action nor a BOOL variable")

    def _asked(
        self, uses: _Uses, frame: Frame, instance: Instance, record: Record
    ) -> dict[str, bool]:
        """Whether an active step asks for the action, by qualifier; and the times that go with."""
        asked = dict.fromkeys(NEEDS, False)
        for step, use in uses:
            qualifier = use.qualifier.upper() or "N"
            if qualifier not in asked:
                raise refusal(use.place, f"the qualifier '{use.qualifier}' is not known")
            active = self._active(instance, step.name)
            if active is None or not active.content:
                continue
            if use.duration is not None and not asked[qualifier]:
                timers = (b.casefold() for b, kind in NEEDS[qualifier] if kind == "TON")
                for timer in timers:
                    block = record.members[timer]
                    assert isinstance(block, Standard)
                    value = self.evaluate(use.duration, frame)
                    block.members["PT"].write(value, use.place, self.arithmetic)
            asked[qualifier] = True
        return asked

    def _decide(self, record: Record, asked: dict[str, bool]) -> tuple[bool, bool]:
        """Whether the action is active, and whether a pulse without a final scan executes it.

        Source: IEC 61131-3, body of the action control (from memory).
        """
        reset = asked["R"]

        def block(name: str, output: str, **inputs: bool) -> bool:
            found = record.members.get(name)
            if not isinstance(found, Standard):
                return False
            for key, on in inputs.items():
                found.members[key].content = int(on)
            call_block(found, self.settings)
            return bool(found.members[output].content)

        stored = block("s_ff", "Q1", S=asked["S"], R1=reset)
        limited = asked["L"] and not block("l_tmr", "Q", IN=asked["L"])
        if not asked["L"]:
            block("l_tmr", "Q", IN=False)
        delayed = block("d_tmr", "Q", IN=asked["D"])
        pulse = block("p_trig", "Q", CLK=asked["P"])
        stored_first = block("sd_ff", "Q1", S=asked["SD"], R1=reset)
        stored_delayed = block("sd_tmr", "Q", IN=stored_first)
        over = block("ds_tmr", "Q", IN=asked["DS"])
        delayed_stored = block("ds_ff", "Q1", S=over, R1=reset)
        stored_limited = block("sl_ff", "Q1", S=asked["SL"], R1=reset)
        ended = block("sl_tmr", "Q", IN=stored_limited)
        q = not reset and (
            asked["N"]
            or stored
            or limited
            or delayed
            or pulse
            or stored_delayed
            or delayed_stored
            or (stored_limited and not ended)
        )
        starts = block("p1_trig", "Q", CLK=asked["P1"])
        ends = block("p0_trig", "Q", CLK=asked["P0"])
        return q, not reset and (starts or ends)
