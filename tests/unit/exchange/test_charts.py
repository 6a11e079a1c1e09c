"""Charts of the exchange format against the same charts in text."""

from __future__ import annotations

import pytest

from interlock.exchange.files import read_files
from interlock.st import syntax as sx
from interlock.st.parser import parse_file
from tests.support.exchange_files import Sheet, interface, pou, project

_FACES = interface(VAR_INPUT="a:BOOL;b:BOOL;c:BOOL", VAR_OUTPUT="q:BOOL;r:BOOL;n:INT", VAR="t:TON")
_TEXT_FACES = """VAR_INPUT a : BOOL; b : BOOL; c : BOOL; END_VAR
VAR_OUTPUT q : BOOL; r : BOOL; n : INT; END_VAR VAR t : TON; END_VAR"""


def step(id_: int, name: str, *before: int, x: int = 0, initial: bool = False) -> str:
    word = ' initialStep="true"' if initial else ""
    return f'<step localId="{id_}" name="{name}"{word}>{_at(x)}{_points(before)}</step>'


def transition(id_: int, before: int, condition: str, x: int = 0, more: str = "") -> str:
    inside = f"{_at(x)}{_points((before,))}<condition>{condition}</condition>"
    return f'<transition localId="{id_}"{more}>{inside}</transition>'


def line(kind: str, id_: int, *before: int) -> str:
    points = "".join(_points((one,)) for one in before)
    return f'<{kind} localId="{id_}">{_at(0)}{points}</{kind}>'


def jump(id_: int, before: int, to: str) -> str:
    return f'<jumpStep localId="{id_}" targetName="{to}">{_at(0)}{_points((before,))}</jumpStep>'


def actions(id_: int, of: int, *uses: str) -> str:
    return f'<actionBlock localId="{id_}">{_at(0)}{_points((of,))}{"".join(uses)}</actionBlock>'


def use(name: str, qualifier: str = "", duration: str = "") -> str:
    words = f' qualifier="{qualifier}"' if qualifier else ""
    words += f' duration="{duration}"' if duration else ""
    return f'<action{words}><relPosition x="0" y="0"/><reference name="{name}"/></action>'


def inline(text: str) -> str:
    return f'<inline name=""><ST><xhtml:p>{text}</xhtml:p></ST></inline>'


def refer(name: str) -> str:
    return f'<reference name="{name}"/>'


def _at(x: int) -> str:
    return f'<position x="{x}" y="0"/>'


def _points(ids: tuple[int, ...]) -> str:
    inner = "".join(f'<connection refLocalId="{one}"/>' for one in ids)
    return f"<connectionPointIn>{inner}</connectionPointIn>"


def read(*parts: str, more: str = "") -> sx.Unit:
    """The unit Main whose chart has these parts."""
    text = project(pou("Main", f"<SFC>{''.join(parts)}</SFC>", _FACES, more=more))
    return read_files({"chart.xml": text})[0].units[0]


def written(text: str) -> sx.Unit:
    """The unit Main with the same interface and a chart in text."""
    return parse_file(f"PROGRAM Main {_TEXT_FACES}\n{text}\nEND_PROGRAM", "c.st").units[0]


def test_steps_transitions_and_jumps() -> None:
    found = read(
        step(1, "Start", initial=True),
        transition(2, 1, inline("a AND NOT b")),
        step(3, "Run", 2),
        transition(4, 3, refer("b")),
        jump(5, 4, "Start"),
    )
    assert found == written(
        """INITIAL_STEP Start: END_STEP STEP Run: END_STEP
        TRANSITION FROM Start TO Run := a AND NOT b; END_TRANSITION
        TRANSITION FROM Run TO Start := b; END_TRANSITION"""
    )


def test_of_several_branches_the_leftmost_comes_first_and_a_priority_is_kept() -> None:
    found = read(
        step(1, "Start", 20, initial=True),
        line("selectionDivergence", 2, 1),
        transition(3, 2, refer("a"), x=90),
        transition(4, 2, refer("b"), x=10),
        transition(5, 2, refer("c"), x=50, more=' priority="3"'),
        line("selectionConvergence", 6, 3, 4, 5),
        step(7, "Run", 6),
        transition(20, 7, refer("c"), x=200),
    )
    assert found == written(
        """INITIAL_STEP Start: END_STEP STEP Run: END_STEP
        TRANSITION FROM Start TO Run := b; END_TRANSITION
        TRANSITION (PRIORITY := 3) FROM Start TO Run := c; END_TRANSITION
        TRANSITION FROM Start TO Run := a; END_TRANSITION
        TRANSITION FROM Run TO Start := c; END_TRANSITION"""
    )


def test_simultaneous_branches() -> None:
    found = read(
        step(1, "Start", 20, initial=True),
        transition(2, 1, refer("a")),
        line("simultaneousDivergence", 3, 2),
        step(4, "Left", 3),
        step(5, "Right", 3, x=10),
        line("simultaneousConvergence", 6, 4, 5),
        transition(20, 6, refer("b"), x=20),
    )
    assert found == written(
        """INITIAL_STEP Start: END_STEP STEP Left: END_STEP STEP Right: END_STEP
        TRANSITION FROM Start TO (Left, Right) := a; END_TRANSITION
        TRANSITION FROM (Left, Right) TO Start := b; END_TRANSITION"""
    )


@pytest.mark.parametrize("qualifier", ["N", "R", "S", "P", "P0", "P1", "L", "D", "SD", "DS", "SL"])
def test_qualifiers_of_actions(qualifier: str) -> None:
    timed = qualifier in ("L", "D", "SD", "DS", "SL")
    found = read(
        step(1, "Start", 2, initial=True),
        transition(2, 1, refer("a")),
        actions(3, 1, use("q", qualifier, "T#5s" if timed else ""), use("r")),
    )
    time = ", T#5s" if timed else ""
    assert found == written(
        f"""INITIAL_STEP Start: q({qualifier}{time}); r(N); END_STEP
        TRANSITION FROM Start TO Start := a; END_TRANSITION"""
    )


def test_actions_in_the_chart_and_beside_it() -> None:
    sheet = Sheet()
    sheet.coil("q", sheet.contact("b", sheet.rail()))
    body = f'<actions><action name="Act"><body>{sheet.body("LD")}</body></action></actions>'
    own = f'<action qualifier="P1"><relPosition x="0" y="0"/>{inline("n := n + 1;")}</action>'
    found = read(
        step(1, "Start", 2, initial=True),
        transition(2, 1, refer("a")),
        actions(3, 1, use("Act"), own),
        more=body,
    )
    assert found == written(
        """ACTION Act: q := b; END_ACTION ACTION Start_action_3: n := n + 1; END_ACTION
        INITIAL_STEP Start: Act(N); Start_action_3(P1); END_STEP
        TRANSITION FROM Start TO Start := a; END_TRANSITION"""
    )


@pytest.mark.parametrize(
    "body",
    [
        "<ST><xhtml:p>:= a AND b;</xhtml:p></ST>",
        "<ST><xhtml:p>a AND b</xhtml:p></ST>",
        "<ST><xhtml:p>Go := a AND b;</xhtml:p></ST>",
        "<LD><leftPowerRail localId='1'/><contact localId='2'><connectionPointIn><connection "
        "refLocalId='1'/></connectionPointIn><variable>a</variable></contact><contact localId='3'>"
        "<connectionPointIn><connection refLocalId='2'/></connectionPointIn><variable>b</variable>"
        "</contact><coil localId='4'><connectionPointIn><connection refLocalId='3'/>"
        "</connectionPointIn><variable>Go</variable></coil></LD>",
        "<FBD><inVariable localId='1'><expression>a AND b</expression></inVariable><outVariable "
        "localId='2'><connectionPointIn><connection refLocalId='1'/></connectionPointIn>"
        "<expression>go</expression></outVariable></FBD>",
    ],
)
def test_transitions_with_a_name_have_a_body_in_any_language(body: str) -> None:
    found = read(
        step(1, "Start", 2, initial=True),
        transition(2, 1, refer("Go")),
        more=f'<transitions><transition name="Go"><body>{body}</body></transition></transitions>',
    )
    assert found == written(
        """INITIAL_STEP Start: END_STEP
        TRANSITION FROM Start TO Start := a AND b; END_TRANSITION"""
    )


def test_a_condition_that_is_wired_is_read_in_the_chart() -> None:
    wired = "<connectionPointIn><connection refLocalId='9'/></connectionPointIn>"
    contact = f"<contact localId='9'>{_points((8,))}<variable>a</variable></contact>"
    found = read(
        step(1, "Start", 2, initial=True),
        "<leftPowerRail localId='8'/>",
        contact,
        transition(2, 1, wired),
    )
    assert found == written(
        "INITIAL_STEP Start: END_STEP TRANSITION FROM Start TO Start := a; END_TRANSITION"
    )
    # As in the first version of the format.
    old = read(
        step(1, "Start", 2, initial=True),
        "<leftPowerRail localId='8'/>",
        contact,
        transition(2, 1, "<connection refLocalId='9'/>"),
    )
    assert old == found


def test_a_condition_with_a_timer_is_a_method_that_the_transition_calls() -> None:
    sheet = Sheet()
    time = sheet.value("T#2s")
    block = sheet.block("TON", {"IN": sheet.value("a"), "PT": time}, "Q", "t")
    sheet.assign("Go", (block, "Q"))
    body = f'<transitions><transition name="Go"><body>{sheet.body("FBD")}</body></transition>'
    found = read(
        step(1, "Start", 2, initial=True),
        transition(2, 1, refer("Go")),
        more=f"{body}</transitions>",
    )
    assert found == written(
        """INITIAL_STEP Start: END_STEP
        METHOD Go : BOOL t(IN := a, PT := T#2s); Go := t.Q; END_METHOD
        TRANSITION FROM Start TO Start := Go(); END_TRANSITION"""
    )
