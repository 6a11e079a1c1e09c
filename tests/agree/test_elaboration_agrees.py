"""A project executed as written gives what elaboration, checker and lowering make of it."""

from __future__ import annotations

from collections import Counter

from hypothesis import HealthCheck, event, given, reject, settings
from hypothesis import strategies as st

from interlock.base.errors import InputError
from interlock.st import syntax as sx
from interlock.st.check import check_program
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings, Timers, lay_out
from interlock.st.parser import parse_program
from tests.support import programs as small
from tests.support.executed import disagreements
from tests.support.random_projects import Act, RandomProject, random_acts, random_projects

_relaxed = settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))

_SETTINGS = st.builds(
    Settings,
    st.sampled_from((Timers.FREE, Timers.COUNTED)),
    st.sampled_from((50, 100, 120)),
    st.sampled_from((1, 2)),
    st.sampled_from(("wrap", "saturate")),
)


@settings(_relaxed, max_examples=8)
@given(random_projects(), random_acts(), _SETTINGS)
def test_a_project_and_what_is_made_of_it_agree_in_every_scan(
    project: RandomProject, acts: list[Act], chosen: Settings
) -> None:
    counts: Counter[str] = Counter()
    assert not list(disagreements(project, acts, chosen, counts))
    for what in counts:
        event(what)


@_relaxed
@given(small.programs(counted=True), small.acts(), st.sampled_from((1, 2)))
def test_a_program_of_scalars_is_executed_as_its_typed_tree_is(
    text: str, acts: list[small.Act], edges: int
) -> None:
    if "LIMIT(" in text.replace("LIMIT(-1, c1.CV, m0)", ""):
        reject()  # random limits may be crossed
    chosen = Settings(Timers.COUNTED, 100, edges)
    tree = parse_program(text, "random.st")
    try:
        typed = check_program(tree)
    except InputError:
        reject()
    ours = Controller(typed, chosen)
    unit = sx.Unit("PROGRAM", tree.name, tree.declarations, tree.body, tree.place)
    file = sx.SourceFile("random", tree.types, (unit,), (), (), ())
    spans = {f"plc.{name}.CV": span for name, span in lay_out(typed, chosen).counts.items()}
    written = DirectController([file], tree.name, chosen, spans)
    for act in acts:
        if act.restarts:
            ours.restart()
            written.restart()
        expected, found = ours.scan(act.inputs), written.scan(act.inputs)
        values = written.values()
        assert {name: values[name] for name in ours.values()} == ours.values()
        assert set(found.defects) == set(expected.defects)
        assert (found.outputs, found.executed) == (expected.outputs, expected.executed)
        assert [(d.place, d.name, d.old, d.new) for d in found.decided] == [
            (d.place, d.name, d.old, d.new) for d in expected.decided
        ]
