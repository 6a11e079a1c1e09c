"""What a chart says is taken as it is meant or refused, and what it cannot say is listed."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.kernel.evaluate import evaluate
from interlock.model.build import build
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.gate import GATE_ST, GATE_YAML, gate, written

HEAD = '<scxml xmlns="http://www.w3.org/2005/07/scxml" xmlns:model="urn:interlock:model"'
PROGRAM = """PROGRAM P
VAR_INPUT s : BOOL; END_VAR
VAR_OUTPUT q, r : BOOL; END_VAR
q := s;
r := s;
END_PROGRAM
"""
TWO = (
    '<parallel id="p">'
    '<state id="one" initial="a"><state id="a">{}</state><state id="b"/></state>'
    '<state id="two"><state id="x">{}</state><state id="y"/></state></parallel>'
)


def adopted(folder: Path, chart: str, st: str = PROGRAM) -> Model:
    """A model with the plant of a chart."""
    folder.mkdir(exist_ok=True)
    (folder / "c.scxml").write_text(chart, encoding="utf-8")
    assert run(["adopt", str(folder / "c.scxml"), "-o", str(folder / "plant.yaml")]) == 0
    plant = (folder / "plant.yaml").read_text(encoding="utf-8")
    yaml = f"title: t\ncontroller: controller.st\n{plant}sensors: {{s: {{reads: 'TRUE'}}}}\n"
    yaml += "requirements: {R: {says: x, can_still: 'TRUE'}}\n"
    return load(written(folder, yaml, st))


def refusal(folder: Path, chart: str, capsys: pytest.CaptureFixture[str]) -> str:
    """The one line with which a chart is refused."""
    (folder / "c.scxml").write_text(chart, encoding="utf-8")
    assert run(["adopt", str(folder / "c.scxml")]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    (line,) = said.err.splitlines()
    return line


@pytest.mark.parametrize(
    ("chart", "says"),
    [
        (
            f'{HEAD} initial="b y">\n{TWO.format("", "")}</scxml>',
            "1:1: initial: above a <parallel> it would begin regions in other states than theirs",
        ),
        (
            f'{HEAD} name="m">\n<state id="a"><transition event="e" target="b"/>'
            '<transition event="e" cond="q" target="c"/></state>'
            '<state id="b"/><state id="c"/></scxml>',
            "never taken: an earlier transition takes every 'e'",
        ),
        (
            f'{HEAD} name="m">\n<state id="a"><transition event="e" target="b"/>'
            '<transition event="e.f" target="c"/></state><state id="b"/><state id="c"/></scxml>',
            "never taken: an earlier transition takes every 'e.f'",
        ),
        (
            f"{HEAD}>\n"
            + TWO.format('<transition event="e" target="b"/>', '<transition event="e" target="y"/>')
            + "</scxml>",
            "'e' moves one in the same instant",
        ),
        (
            f"{HEAD}>\n"
            + TWO.format(
                '<transition event="e.f" target="b"/>', '<transition event="e" target="y"/>'
            )
            + "</scxml>",
            "'e' moves one in the same instant",
        ),
        (
            f"{HEAD}>\n"
            + TWO.format(
                '<transition event="e" target="b"><raise event="follow.y"/></transition>', ""
            )
            + "</scxml>",
            "executable content is not supported",
        ),
        (
            f'{HEAD} name="m">\n<state id="a"><transition event="done.state.x" target="b"/></state>'
            '<state id="b"/></scxml>',
            "'done.state.x' is raised by a chart itself",
        ),
        (
            f'{HEAD} name="m" datamodel="xpath">\n<state id="a"/></scxml>',
            "guards in 'xpath' cannot be read",
        ),
        (
            f'{HEAD} name="m">\n<state id="a"/><state id="b"/><state id="a"/></scxml>',
            "'a' is the id of two states",
        ),
        (
            f'{HEAD} name="m">\n<state id="TRUE"/><state id="b"/></scxml>',
            "'TRUE' is a reserved word and cannot name a state",
        ),
        (f'{HEAD} name="MOD">\n<state id="a"/></scxml>', "'MOD' is a reserved word"),
        (
            f'{HEAD} name="m">\n<state id="a"><transition event="e" target="b" model:by="nobody"/>'
            '</state><state id="b"/></scxml>',
            "'nobody' is nobody who makes moves",
        ),
        (
            f'{HEAD} name="m">\n<state id="a">'
            '<transition event="e" target="b" model:seconds="soon"/></state>'
            '<state id="b"/></scxml>',
            "seconds: 'soon' is not two numbers",
        ),
        # Less could happen than was meant if this was taken for what starts again.
        (
            f'{HEAD} name="m">\n<state id="a"><transition event="e" target="b" '
            'model:seconds="1 2" model:assumed="true" model:interrupted="goes-on"/></state>'
            '<state id="b"/></scxml>',
            "interrupted: 'goes-on' is not 'starts again' or 'goes on'",
        ),
        (
            f'{HEAD} name="m">\n<state id="a"><transition event="e" target="b" '
            'model:interrupted="goes on"/></state><state id="b"/></scxml>',
            "interrupted: only what takes seconds can be",
        ),
    ],
)
def test_what_a_plant_would_do_otherwise_is_refused(
    chart: str, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    line = refusal(tmp_path, chart, capsys)
    assert says in line
    assert "c.scxml:" in line


@pytest.mark.parametrize(
    ("cond", "says"),
    [
        ("q / 2 == 1", "cannot be read from '/ 2 == 1' on"),
        ("q MOD r", "'MOD' means something else"),
        ("TRUE", "'TRUE' means something else"),
        ("ABS(q) == 1", "'ABS' is a function"),
        ("q == 010", "'010' is a number to the base of eight"),
        ("q++ == 1", "'++' changes what it asks"),
        ("q && Q", "'Q' and 'q' would be one name"),
    ],
)
def test_a_guard_that_means_something_else_is_refused(
    cond: str, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cond = cond.replace("&", "&amp;")
    chart = (
        f'{HEAD} name="m">\n<state id="a"><transition event="e" cond="{cond}" target="b"/></state>'
        '<state id="b"/></scxml>'
    )
    assert says in refusal(tmp_path, chart, capsys)


def guards(model: Model) -> dict[tuple[str, str], str]:
    """For each pair of outputs, which moves may be made in the first state after a scan."""
    system = build(model).system
    found = {}
    for q in (0, 1):
        for r in (0, 1):
            state = {**system.named(system.initial), "q": q, "r": r, "scan.pending": 0}
            enabled = [m.name for m in system.moves if evaluate(m.guard, state)]
            found[f"{q}{r}"] = " ".join(sorted(name for name in enabled if name != "scan"))
    return found  # type: ignore[return-value]


def test_of_two_transitions_on_one_event_the_first_in_the_document_counts(tmp_path: Path) -> None:
    model = adopted(
        tmp_path,
        f'{HEAD} name="m">\n<state id="a"><transition event="e" cond="q" target="b"/>'
        '<transition event="e" cond="r" target="c"/><transition event="e" target="a"/></state>'
        '<state id="b"/><state id="c"/></scxml>',
    )
    to = {m.name: model.machines["m"].states[m.target] for m in model.moves}
    made = {key: [to[name] for name in names.split(" e")] for key, names in _named(model).items()}
    assert made == {"00": ["a"], "01": ["c"], "10": ["b"], "11": ["b"]}


def _named(model: Model) -> dict[str, str]:
    return {str(key): names for key, names in guards(model).items()}


def test_an_event_of_a_foreign_chart_may_be_called_like_ours(tmp_path: Path) -> None:
    model = adopted(
        tmp_path,
        f'{HEAD} name="m">\n<state id="a"><transition event="follow.b" target="b"/></state>'
        '<state id="b"/></scxml>',
    )
    assert [m.name for m in model.moves] == ["follow.b"]


CONTROL = (
    f"{HEAD}>\n"
    '<parallel id="p"><state id="c" model:control="true"><state id="c.A">{}</state>'
    '<state id="c.B">{}</state><state id="c.C">{}</state></state></parallel></scxml>'
)


def set_to(target: str, more: str = "") -> str:
    return f'<transition event="to_{target}" target="c.{target}" model:by="operator"{more}/>'


@pytest.mark.parametrize(
    "transitions",
    [
        pytest.param([set_to("B"), set_to("C"), set_to("A")], id="fewer transitions"),
        pytest.param(
            [
                set_to("B") + set_to("C"),
                set_to("A") + set_to("C"),
                set_to("A", ' cond="q"') + set_to("B"),
            ],
            id="one under a condition",
        ),
        pytest.param(
            [
                set_to("B") + set_to("C"),
                set_to("A") + set_to("C"),
                set_to("A").replace("operator", "driver") + set_to("B"),
            ],
            id="one by another person",
        ),
        pytest.param(
            [
                set_to(a).replace("operator", "plant") + set_to(b).replace("operator", "plant")
                for a, b in (("B", "C"), ("A", "C"), ("A", "B"))
            ],
            id="by the plant",
        ),
    ],
)
def test_a_control_that_is_not_set_freely_is_refused(
    transitions: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "c is marked as a control" in refusal(tmp_path, CONTROL.format(*transitions), capsys)
    # Without the mark it is a machine that people move, and the rest as it is.
    model = adopted(
        tmp_path / "m", CONTROL.format(*transitions).replace("model:control", "model:x")
    )
    assert len(model.moves) == sum(text.count("<transition") for text in transitions)


def round_trip(model: Model, folder: Path) -> str:
    """The plant of a model as a chart, taken over again."""
    assert run(["export", str(model.folder), "--as", "scxml", "-o", str(folder / "c.scxml")]) == 0
    assert run(["adopt", str(folder / "c.scxml"), "-o", str(folder / "plant.yaml")]) == 0
    return (folder / "plant.yaml").read_text(encoding="utf-8")


def test_a_button_that_starts_pressed_comes_back_pressed(tmp_path: Path) -> None:
    model = gate(tmp_path / "g", ("{says: the button}", "{says: the button, initial: 'TRUE'}"))
    assert model.machines["button"].initial == 1
    assert 'button: {says: "the button", initial: "TRUE"}' in round_trip(model, tmp_path)


def test_durations_come_back_with_their_sources(tmp_path: Path) -> None:
    model = gate(
        tmp_path / "g",
        ("says: the gate leaves its stop", 'seconds: [0.5, 2], source: "its <sheet> & more"'),
        ("says: the gate is open", "seconds: [1, 1], assumed: true"),
    )
    text = round_trip(model, tmp_path)
    assert 'seconds: [0.5, 2.0], source: "its <sheet> & more"' in text
    assert "seconds: [1.0, 1.0], assumed: true" in text


def test_a_move_that_only_carries_others_along_comes_back(tmp_path: Path) -> None:
    latch = "  latch:\n    states: [IN, OUT]\ncontrols:"
    carried = "{from: OPEN, to: OPEN, also: {latch: 'SEL(gate = OPEN, IN, OUT)'}, name: shake}"
    model = gate(
        tmp_path / "g",
        ("controls:", latch),
        ("    moves:\n", f"    moves:\n      - {carried}\n"),
    )
    text = round_trip(model, tmp_path)
    assert "from: OPEN, to: OPEN, also: {latch:" in text
    # In the middle of a transition a chart is in no state of what moves.
    chart = (tmp_path / "c.scxml").read_text(encoding="utf-8")
    assert '<raise event="follow.latch.OUT"/>' in chart
    assert "<if" not in chart


def test_what_a_chart_computes_otherwise_is_a_loss(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    st = GATE_ST.replace("lamp : BOOL;", "lamp, delete : BOOL; level : INT (0..9);")
    st = st.replace("lamp :=", "delete := shut;\nlevel := 3;\nlamp :=")
    yaml = GATE_YAML.replace("to: BETWEEN, when: drive", "to: BETWEEN, when: level / 2 = 1")
    yaml = yaml.replace("to: OPEN, when: drive", "to: OPEN, when: delete")
    folder = written(tmp_path / "g", yaml, st)
    assert run(["export", str(folder), "--as", "scxml", "-o", str(tmp_path / "c.scxml")]) == 0
    said = capsys.readouterr().err
    assert "the guard of 'gate: SHUT to BETWEEN' (/ of whole numbers has no counterpart)" in said
    assert "the guard of 'gate: BETWEEN to OPEN' ('delete' cannot name anything in" in said
