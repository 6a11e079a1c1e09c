"""What cannot be read: one line each, with its place, what is wrong and the nearest known name."""

from __future__ import annotations

import time

import pytest

from interlock.base.errors import InputError
from interlock.exchange.elements import MAX_DEPTH, MAX_ELEMENTS
from interlock.exchange.files import load_project, read_files
from tests.support.exchange_files import NAMESPACE, Sheet, interface, pou, project, st_body

_FACES = interface(VAR_INPUT="a:BOOL;b:BOOL", VAR_OUTPUT="q:BOOL;n:INT", VAR="t:TON")


def told(text: str, file: str = "plant.xml") -> str:
    """The one line that a file is refused with."""
    with pytest.raises(InputError) as caught:
        load_project({file: text})
    (mistake,) = caught.value.mistakes
    assert "\n" not in str(mistake)
    return str(mistake)


def drawn(inside: str, language: str = "LD", faces: str = _FACES) -> str:
    """A file with one program that is drawn."""
    rail = '<leftPowerRail localId="1"><position x="0" y="0"/></leftPowerRail>'
    return project(pou("Main", f"<{language}>{rail}\n{inside}</{language}>", faces))


def _from(source: str, formal: str = "") -> str:
    return (
        f'<connectionPointIn><connection refLocalId="{source}" formalParameter="{formal}"/>'
        "</connectionPointIn>"
    )


_COIL = f'<coil localId="9">{_from("2")}<variable>q</variable></coil>'
_A = f'<contact localId="2">{_from("1")}<variable>a</variable></contact>'
_TON = (
    '<block localId="2" typeName="TON" instanceName="t"><inputVariables>'
    f'<variable formalParameter="IN">{_from("1")}</variable></inputVariables><outputVariables>'
    '<variable formalParameter="Q"/><variable formalParameter="ET"/></outputVariables></block>'
)


@pytest.mark.parametrize(
    ("inside", "says"),
    [
        (_COIL, "coil 9 (q): a connection leads to 2, which this body does not have"),
        (_A + _A + _COIL, "coil 9 (q): a connection leads to 2, a localId that 2 elements have"),
        (
            '<coil localId="9"><variable>q</variable></coil>',
            "coil 9 (q): nothing is connected to it",
        ),
        (_A.replace("localId", "id", 1), "contact (a): 'contact' needs a localId"),
        (
            _COIL.replace(' refLocalId="2"', ""),
            "coil 9 (q): a connection needs refLocalId",
        ),
        (
            _A.replace("contact", "kontact"),
            "'kontact' has no place in 'LD'; did you mean 'contact'",
        ),
        (_A + _COIL.replace("9", '9" edge="up'), "edge is one of none, rising, falling; not 'up'"),
        (_A + _COIL.replace("9", '9" negated="no'), "negated is 'true' or 'false', not 'no'"),
        (
            _A.replace("2", '2" negated="true" edge="rising', 1) + _COIL,
            "contact 2 (a): an edge that is negated as well has no meaning",
        ),
        (_A + _COIL.replace(">q<", ">a AND<"), "unexpected end of the expression"),
        (_A + _COIL.replace(">q<", ">NOT q<"), "a coil assigns a variable; 'NOT q' is none"),
        (_A.replace(">a<", ">???<") + _COIL, "'???' stands for a name that was never given"),
        (_A.replace(">a<", ">door<") + _COIL, "contact 2 (door): 'door' is not declared"),
        (_TON + _COIL, "block 2 (TON t): a connection does not say which output is meant: Q, ET"),
        (
            _TON + _COIL.replace('formalParameter=""', 'formalParameter="P"'),
            "block 2 (TON t): a connection leads to its output 'P', which it does not have",
        ),
        (_TON.replace(' instanceName="t"', ""), "a TON needs an instance: its instanceName"),
        (_A + f'<jump localId="9" label="L">{_from("2")}</jump>', "there is no label 'L'"),
        (
            f'<label localId="5" label="L"/>{_A}<jump localId="9" label="L">{_from("2")}</jump>',
            "jump 9 (L): the jump to 'L' leads back, which is a loop; write that loop in ST",
        ),
        ('<continuation localId="5" name="X"/>', "there is no connector 'X'"),
        (
            '<step localId="5" name="S"/>',
            "'step' has no place in 'LD'",
        ),
        ('<error localId="5"><content/></error>', "the editor says that there is an error here"),
    ],
)
def test_a_drawing_that_is_wrong_is_refused_at_its_element(inside: str, says: str) -> None:
    line = told(drawn(inside))
    assert line.startswith("plant.xml:")
    assert says in line


def test_wires_that_are_joined_are_refused_in_a_diagram_of_blocks() -> None:
    sheet = Sheet()
    sheet.assign("q", sheet.value("a"), sheet.value("b"))
    line = told(project(pou("Main", sheet.body("FBD"), _FACES)))
    assert "2 wires are joined here; blocks know no such OR: draw an OR" in line


def _chart(*parts: str) -> str:
    step = '<step localId="1" name="S" initialStep="true"/>'
    return project(pou("Main", f"<SFC>{step}\n{''.join(parts)}</SFC>", _FACES))


_TO = (
    f'<transition localId="2">{_from("1")}<condition><reference name="a"/></condition></transition>'
)
_JUMP = f'<jumpStep localId="3" targetName="S">{_from("2")}</jumpStep>'


@pytest.mark.parametrize(
    ("parts", "says"),
    [
        ((_TO,), "transition 2: it leads to no step"),
        ((_TO, _JUMP.replace('"S"', '"T"')), "jumpStep 3 (T): there is no step 'T'; known: S"),
        ((_TO.replace(_from("1"), ""), _JUMP), "transition 2: no step leads to it"),
        ((_TO.replace('name="a"', 'name=""'), _JUMP), "transition 2: this transition has no cond"),
        ((_TO.replace('"a"', '"door"'), _JUMP), "transition 2: 'door' is not declared"),
        ((_TO, _JUMP, '<step localId="4" name="s"/>'), "two steps are called 's'"),
        ((_TO, _JUMP, '<macroStep localId="4" name="M"/>'), "a macro step is not read"),
        ((_TO, _JUMP, _COIL.replace('"2"', '"1"')), "a coil in a chart belongs to no step"),
        (
            (
                _TO,
                _JUMP,
                f'<actionBlock localId="5">{_from("1")}<action qualifier="X">'
                '<reference name="q"/></action></actionBlock>',
            ),
            "the qualifier 'X' is not known",
        ),
        (
            (
                _TO,
                _JUMP,
                '<actionBlock localId="5"><action><reference name="q"/></action></actionBlock>',
            ),
            "an action block belongs to one step",
        ),
        (
            (
                _TO,
                _JUMP,
                f'<actionBlock localId="5">{_from("1")}<action><inline><SFC/></inline>'
                "</action></actionBlock>",
            ),
            "a chart inside of an action is not read",
        ),
        ((_TO.replace("transition", "selectionConvergence"), _JUMP), "condition"),
    ],
)
def test_a_chart_that_is_wrong_is_refused_at_its_element(parts: tuple[str, ...], says: str) -> None:
    assert says in told(_chart(*parts))


def test_a_chart_needs_an_initial_step() -> None:
    line = told(_chart(_TO, _JUMP).replace(' initialStep="true"', ""))
    assert "this chart has no initial step" in line


_BOMB = '<!DOCTYPE p [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><project>&b;</project>'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (_BOMB, "plant.xml:1:1: a document type or an entity has no place in an exchange file"),
        (
            '<?xml version="1.0"?>\n<!DOCTYPE p SYSTEM "http://localhost/p.dtd"><project/>',
            "plant.xml:2:1: a document type or an entity has no place in an exchange file",
        ),
        ("<project>&unknown;</project>", "not valid XML: undefined entity"),
        ("<project><types></project>", "not valid XML: mismatched tag"),
        ("", "not valid XML: no element found"),
        ("just words", "plant.xml:1:1: not valid XML: syntax error"),
        ("<html/>", "'html' is no root of an exchange file; expected 'project' or 'pou'"),
        (
            '<Project xmlns="www.iec.ch/public/TC65SC65BWG7TF10"/>',
            "the format of IEC 61131-10 is read only where it is built like that of TC6, with ",
        ),
        ('<project xmlns="urn:x"/>', "the namespace 'urn:x' is not that of the exchange format"),
        ("<project><type/></project>", "'type' has no place in 'project'; did you mean 'types'?"),
        (f'<project xmlns="{NAMESPACE}"/>', "there is no PROGRAM and no FUNCTION_BLOCK in it"),
        ('<pou name="M" pouType="prog"/>', "pouType is one of program, functionBlock, function"),
        ('<pou pouType="program"/>', "a pou needs a name"),
        (
            '<pou name="M" pouType="program"><body><IL>LD a</IL></body></pou>',
            "PROGRAM M: Instruction List (IL) is not read; write it in ST, LD or FBD",
        ),
        (
            '<pou name="M" pouType="program"><body><ST/><LD/></body></pou>',
            "a body has one language, not 2",
        ),
        (
            '<pou name="M" pouType="program"><interface><localVars><variable name="x"/>'
            "</localVars></interface></pou>",
            "PROGRAM M: the variable x has no type",
        ),
        (
            '<pou name="M" pouType="program"><interface><localVars><variable name="x"><type>'
            "<BOOL/></type><initialValue><simpleValue value='1 +'/></initialValue></variable>"
            "</localVars></interface></pou>",
            "unexpected end of the value",
        ),
    ],
)
def test_a_file_that_is_none_is_refused_in_one_line(text: str, says: str) -> None:
    assert says in told(text)


def test_what_is_too_large_ends_at_once() -> None:
    before = time.process_time()
    assert f"more than {MAX_ELEMENTS:,} elements" in told("<project>" + "<a/>" * MAX_ELEMENTS)
    deep = "<a>" * (MAX_DEPTH + 1)
    assert f"more than {MAX_DEPTH} deep" in told(f"<project>{deep}")
    assert time.process_time() - before < 15


def test_a_chart_that_goes_in_circles_ends() -> None:
    loop = (
        f'<selectionDivergence localId="2">{_from("3")}</selectionDivergence>'
        f'<selectionDivergence localId="3">{_from("2")}</selectionDivergence>'
        f'<transition localId="4">{_from("3")}<condition><reference name="a"/></condition>'
        f'</transition><jumpStep localId="5" targetName="S">{_from("4")}</jumpStep>'
    )
    assert "transition 4: no step leads to it" in told(_chart(loop))


def test_a_mistake_in_text_stands_at_its_own_line_and_column() -> None:
    text = project(pou("Main", st_body("q := a;\n\n  q := a &lt b;"), _FACES))
    with pytest.raises(InputError) as caught:
        read_files({"plant.xml": text})
    place = caught.value.mistakes[0].place
    line = text.split("\n")[place.line - 1]
    assert line.lstrip().startswith("q := a &amp;lt b")
    assert place.unit == "PROGRAM Main"


def test_meaning_in_additional_data_is_not_passed_over() -> None:
    data = '<addData><data name="http://x.org/y/EntryAction" handleUnknown="implementation">'
    text = project(pou("Main", st_body("q := a;"), _FACES)).replace(
        "<body>", f"{data}<a>q := TRUE;</a></data></addData><body>"
    )
    assert "the additional data 'http://x.org/y/EntryAction' are not read, and may be" in told(text)
