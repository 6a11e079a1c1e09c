"""State charts: what goes out comes back the same, and others run it as the plant runs."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.commands.export.adopt import quoted
from interlock.commands.export.plant_yaml import to_yaml
from interlock.commands.export.read_scxml import read_scxml
from interlock.commands.export.write_scxml import event_names, to_scxml
from interlock.independent_judge.player import Player
from interlock.kernel.system import MoveKind
from interlock.model.build import build
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.models import shipped

HEAD = '<scxml xmlns="http://www.w3.org/2005/07/scxml" version="1.0"'


def adopted(model: Model, folder: Path) -> Model:
    """The model with its plant and controls written as a chart and taken over again."""
    chart = folder / "plant.scxml"
    chart.write_text(to_scxml(model).text, encoding="utf-8")
    plant = to_yaml(read_scxml(chart), quoted)
    yaml = [
        "title: adopted",
        "controller: controller.st",
        *plant.splitlines(),
        "sensors:",
        *(f"  {n}: {{reads: {quoted(s.reads.text)}}}" for n, s in model.sensors.items()),
        "terms:",
        *(f"  {n}: {quoted(t.text)}" for n, t in model.terms.items()),
        "requirements: {X: {says: x, can_still: 'TRUE'}}",
    ]
    program = model.sources[model.program.place.file]
    (folder / "controller.st").write_text(program, encoding="utf-8")
    (folder / "model.yaml").write_text("\n".join(yaml) + "\n", encoding="utf-8")
    return load(folder)


@pytest.mark.parametrize("name", ["ramp", "landing-gear-untimed"])
def test_a_plant_that_went_out_comes_back_as_the_same_system(name: str, tmp_path: Path) -> None:
    before, after = build(shipped(name)).system, build(adopted(shipped(name), tmp_path)).system
    assert after.variables == before.variables
    assert len(after.moves) == len(before.moves)
    events = event_names(shipped(name))
    known = {move.name: move for move in after.moves}
    for move in before.moves:
        # The setting of a control is named by the model, any other move by the chart's event.
        back = known.get(events.get(move.name, ""), known.get(move.name))
        assert back is not None, move.name
        # Expressions are hash-consed: the same meaning built the same way is the same object.
        assert (back.guard, back.updates, back.kind) == (move.guard, move.updates, move.kind)


def test_wren_comes_back_with_what_its_moves_carry_along(tmp_path: Path) -> None:
    machines = {m.name: m for m in read_scxml_of(shipped("wren"), tmp_path)}
    (out,) = [m for m in machines["rel"].moves if (m.source, m.target) == ("UNDER", "PART")]
    assert dict(out.also) == {
        "hitch": "OPEN",
        "air": "OFF",
        "elec": "OFF",
        "tbrake": "SEL(tbrake = PARK OR tbrake = RELEASING, EMERGENCY, PARK)",
        "align": "SEL(align = OFF, SEARCH, OFF)",
    }
    assert out.when == "motion = CREEP AND NOT (hitch = LOCKED)"
    assert machines["hitch"].initial == "LOCKED"
    assert machines["pendant"].released == "NONE"


def read_scxml_of(model: Model, folder: Path):  # type: ignore[no-untyped-def]
    file = folder / "chart.scxml"
    file.write_text(to_scxml(model).text, encoding="utf-8")
    return read_scxml(file)


def test_an_independent_interpreter_of_charts_runs_the_plant_as_the_judge_does() -> None:
    """The interpreter is the library scjson; its parser is generated from the W3C's schema."""
    context = pytest.importorskip("scjson.context")
    model = shipped("ramp")
    chart = context.DocumentContext.from_xml_string(to_scxml(model).text)
    player, events, choice = Player(model), event_names(model), random.Random(7)
    player.play("scan")
    made = 0
    for _ in range(300):
        for name, value in player.outputs().items():
            chart.data_model[name] = bool(value)
        move = choice.choice(model.moves)
        chart.enqueue(events[move.name])
        chart.microstep()
        if player.enabled(move.name):
            player.play(move.name)
            made += 1
            player.play("scan")
        states = player.shown()
        expected = {f"{n}.{states[n]}" for n in model.machines}
        assert expected == {s for s in chart.configuration if "." in s}
    assert made > 60


def test_losses_are_told_in_the_chart_and_beside_it() -> None:
    chart = to_scxml(shipped("wren"))
    assert any("faults" in loss for loss in chart.losses)
    assert any("carried along" in loss for loss in chart.losses)
    assert all(f"not carried: {loss.split(';')[0]}" in chart.text for loss in chart.losses[-4:])


def test_the_same_model_gives_the_same_chart() -> None:
    assert to_scxml(shipped("ramp")).text == to_scxml(shipped("ramp")).text
    assert all(m.kind is not MoveKind.SCAN for m in shipped("ramp").moves)


def test_a_single_flat_machine_is_taken(tmp_path: Path) -> None:
    file = tmp_path / "valve.scxml"
    file.write_text(
        f'{HEAD} name="valve" initial="shut">\n'
        '<state id="shut">'
        '<transition event="open" cond="feed &amp;&amp; !jam" target="wide"/></state>\n'
        '<state id="wide"/></scxml>',
        encoding="utf-8",
    )
    (machine,) = read_scxml(file)
    assert (machine.name, machine.states, machine.initial) == ("valve", ("shut", "wide"), "shut")
    assert machine.moves[0].when == "feed AND NOT jam"


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ('<state id="a"><state id="b"/></state>', r":2:\d+: <state> is not supported"),
        ('<state id="a"><onentry/></state>', r":2:\d+: <onentry> is not supported: only flat"),
        ('<history id="h"/><state id="a"/>', r":2:1: <history> is not supported"),
        ('<state id="a"><transition event="e"/></state>', r":2:\d+: target: '' is not one state"),
        (
            '<state id="a"><transition target="a"/></state>',
            r":2:\d+: a transition needs one event",
        ),
        (
            '<state id="a"><transition event="e" target="b"/></state>',
            r"target: 'b' is not one state of x",
        ),
        (
            '<state id="a"><transition event="e" target="a" cond="In(\'c\')"/></state>',
            r"In: 'c' is no state; known: a",
        ),
        (
            '<state id="a"><transition event="e" target="a" cond="f.g"/></state>',
            r"cond: cannot be read from '\.g' on",
        ),
        (
            '<state id="a"><transition event="e" target="a" cond="a &amp;&amp;"/></state>',
            r"cond: 'a &&' is no expression",
        ),
        (
            '<state id="a"><transition event="e" target="a"><log/></transition></state>',
            r"executable content is not supported",
        ),
        ('<state id="a b"/>', r"'a b' cannot name a state"),
        ("<state id='a'>", r"not well-formed XML: mismatched tag"),
    ],
)
def test_what_a_plant_cannot_say_is_refused_with_its_place(
    tmp_path: Path, body: str, said: str
) -> None:
    file = tmp_path / "c.scxml"
    file.write_text(f'{HEAD} name="x">\n{body}\n</scxml>', encoding="utf-8")
    with pytest.raises(InputError, match=said):
        read_scxml(file)


def test_a_document_type_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "c.scxml"
    file.write_text('<!DOCTYPE scxml [<!ENTITY a "b">]>\n<scxml/>', encoding="utf-8")
    with pytest.raises(InputError, match=r"1:.*document type is not supported"):
        read_scxml(file)
