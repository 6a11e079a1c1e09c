"""What is drawn, and what else the exchange format has: what becomes of it, with an example.

The examples are tried, so what stands here is so.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from interlock.st.constructs.row import Construct, left_out, refused, taken

_FACES = """ <interface>
  <inputVars><variable name="a"><type><BOOL/></type></variable></inputVars>
  <outputVars><variable name="q"><type><BOOL/></type></variable>
   <variable name="n"><type><INT/></type></variable></outputVars>
  <localVars><variable name="t"><type><derived name="R_TRIG"/></type></variable></localVars>
 </interface>
"""


def _pou(language: str, inside: str, more: str = "") -> str:
    """A file with one program."""
    return (
        f'<pou name="Main" pouType="program">\n{_FACES}{more} <body><{language}>\n'
        f"{inside} </{language}></body>\n</pou>"
    )


def _element(tag: str, id_: int, words: str = "", *wires: str, inside: str = "") -> str:
    """An element of a network; wires are localIds, with the output of a block after a dot."""
    ends = [wire.partition(".") for wire in wires]
    connections = "".join(
        f'<connection refLocalId="{end}"' + (f' formalParameter="{name}"' if name else "") + "/>"
        for end, _, name in ends
    )
    point = f"<connectionPointIn>{connections}</connectionPointIn>" if wires else ""
    said = f' localId="{id_}"{" " if words else ""}{words}'
    body = f"{point}{inside}"
    return f"  <{tag}{said}>{body}</{tag}>\n" if body else f"  <{tag}{said}/>\n"


def _shows(name: str) -> str:
    return f"<variable>{name}</variable>"


def _value(id_: int, text: str) -> str:
    return _element("inVariable", id_, inside=f"<expression>{text}</expression>")


def _assign(id_: int, text: str, *wires: str) -> str:
    return _element("outVariable", id_, "", *wires, inside=f"<expression>{text}</expression>")


def _block(id_: int, words: str, inputs: Mapping[str, str], *outputs: str) -> str:
    pins = "".join(
        f'<variable formalParameter="{name}"><connectionPointIn><connection refLocalId="{wire}"/>'
        "</connectionPointIn></variable>"
        for name, wire in inputs.items()
    )
    gives = "".join(f'<variable formalParameter="{name}"/>' for name in outputs)
    inside = (
        f"\n   <inputVariables>{pins}</inputVariables>\n"
        f"   <outputVariables>{gives}</outputVariables>"
    )
    return _element("block", id_, words, inside=inside)


_RAIL = _element("leftPowerRail", 1)


def _contact(id_: int, name: str, *wires: str, words: str = "") -> str:
    return _element("contact", id_, words, *wires, inside=_shows(name))


def _coil(id_: int, name: str, *wires: str, words: str = "") -> str:
    return _element("coil", id_, words, *wires, inside=_shows(name))


NETWORKS = (
    taken(
        "contact",
        "The AND of what comes from the left and its variable; with negated the variable's NOT, "
        "with edge its rise or fall. What is joined before it is OR-ed. It is evaluated once.",
        _pou("LD", _RAIL + _contact(2, "a", "1", words='negated="true"') + _coil(3, "q", "2")),
        *("LD", "ladder", "leftPowerRail", "power rail"),
        q=1,
    ),
    taken(
        "coil",
        "Assigns what comes from the left, with negated its NOT; storage set or reset assigns TRUE "
        "or FALSE where power comes, else nothing; with edge it is for one evaluation.",
        _pou("LD", _RAIL + _coil(2, "q", "1", words='storage="set"')),
        *("set coil", "reset coil", "storage"),
        q=1,
    ),
    taken(
        "block",
        "The call of its instance or a function. Inputs that nothing is wired to are left out of "
        "the call. Pins may be negated or for an edge, of an output when the block is evaluated.",
        _pou(
            "FBD",
            _value(1, "NOT a")
            + _block(2, 'typeName="R_TRIG" instanceName="t"', {"CLK": "1"}, "Q")
            + _assign(3, "q", "2.Q"),
        ),
        *("FBD", "inVariable", "outVariable", "inOutVariable", "formalParameter"),
        q=1,
    ),
    taken(
        "block with EN",
        "It is called only where EN is TRUE, and ENO is EN. A variable that takes the value of a "
        "function keeps its own while EN is FALSE.",
        _pou(
            "LD",
            _RAIL
            + _contact(2, "a", "1", words='negated="true"')
            + _value(3, "5")
            + _block(4, 'typeName="MOVE"', {"EN": "2", "IN": "3"}, "ENO", "OUT")
            + _assign(5, "n", "4.OUT")
            + _coil(6, "q", "4.ENO"),
        ),
        "ENO",
        q=1,
        n=5,
    ),
    taken(
        "order of execution",
        "Networks from top to bottom, then from left to right; in one network what acts (coils, "
        "variables, calls) likewise, each behind all that it needs. Where every one has an "
        "executionOrderId these decide. Without positions the order of the file does.",
        _pou("LD", _RAIL + _coil(2, "q", "1") + _contact(3, "q", "1") + _coil(4, "q", "3")),
        *("executionOrderId", "network", "rung"),
        q=1,
    ),
    taken(
        "wire that leads back",
        "It carries the value of the evaluation before, FALSE or 0 in the first. Of a loop it is "
        "the wire to the element with the least executionOrderId, else to the leftmost.",
        _pou(
            "FBD",
            _value(1, "NOT a")
            + _block(2, 'typeName="OR"', {"IN1": "1", "IN2": "2"}, "OUT")
            + _assign(3, "q", "2"),
        ),
        "feedback",
        told="is remembered for the next evaluation",
        q=1,
    ),
    taken(
        "connector",
        "What comes into a connector goes on from each continuation with its name.",
        _pou(
            "FBD",
            _value(1, "NOT a")
            + _element("connector", 2, 'name="x"', "1")
            + _element("continuation", 3, 'name="x"')
            + _assign(4, "q", "3"),
        ),
        "continuation",
        q=1,
    ),
    taken(
        "jump to a label",
        "What stands before the label is done only where nobody jumps over it. All of a network "
        "is evaluated before it is left.",
        _pou(
            "LD",
            _RAIL
            + _element("jump", 2, 'label="L"', "1")
            + _coil(3, "q", "1")
            + _element("label", 4, 'label="L"'),
        ),
        *("label", "jump", "return"),
        q=0,
    ),
    refused(
        "jump back",
        "It is a loop; write that loop in ST.",
        _pou(
            "LD",
            _RAIL + _element("label", 2, 'label="L"') + _element("jump", 3, 'label="L"', "1"),
        ),
        "the jump to 'L' leads back, which is a loop",
    ),
    left_out(
        "vendorElement",
        "An editor's own element has no meaning that others know; what is wired to it is refused.",
        _pou("LD", _RAIL + _element("vendorElement", 2) + _coil(3, "q", "1")),
        "an editor's own element was not considered",
    ),
)


def _step(id_: int, words: str, *wires: str) -> str:
    return _element("step", id_, words, *wires)


def _transition(id_: int, wire: str, condition: str) -> str:
    return _element("transition", id_, "", wire, inside=f"<condition>{condition}</condition>")


def _inline(text: str) -> str:
    return f'<inline name=""><ST>{text}</ST></inline>'


def _action(id_: int, wire: str, words: str, name: str) -> str:
    inside = f'<action {words}><reference name="{name}"/></action>'
    return _element("actionBlock", id_, "", wire, inside=inside)


_START = _step(1, 'name="One" initialStep="true"')
_BACK = _element("jumpStep", 9, 'targetName="One"', "3")

CHARTS = (
    taken(
        "drawn chart",
        "It means what the same chart means in text. Of several transitions the leftmost comes "
        "first, unless they have priorities.",
        _pou(
            "SFC",
            _START
            + _action(2, "1", 'qualifier="N"', "q")
            + _transition(3, "1", _inline("a"))
            + _BACK,
        ),
        *("SFC", "jumpStep", "selectionDivergence", "selectionConvergence", "actionBlock"),
        *("simultaneousDivergence", "simultaneousConvergence"),
        q=1,
    ),
    taken(
        "condition of a transition",
        "Text in its place, a variable, a transition with a body of its own in ST, LD or FBD, or "
        "what is wired to it. It is evaluated only while the steps before it are active; one that "
        "needs calls is a method of the unit.",
        _pou(
            "SFC",
            _START
            + _transition(3, "1", '<reference name="Go"/>')
            + _BACK
            + _action(4, "1", "", "q"),
            ' <transitions><transition name="Go"><body><ST>:= a;</ST></body></transition>'
            "</transitions>\n",
        ),
        *("condition", "transition"),
        q=1,
    ),
    taken(
        "action in a chart",
        "A variable, an action of the unit in ST, LD or FBD, or a body in its place; with the "
        "qualifiers that charts in text have.",
        _pou(
            "SFC",
            _START
            + _transition(3, "1", _inline("a"))
            + _BACK
            + _element(
                "actionBlock",
                4,
                "",
                "1",
                inside='<action qualifier="P"><inline><ST>n := n + 1;</ST></inline></action>',
            ),
        ),
        "inline",
        n=1,
    ),
    refused(
        "macro step",
        "Draw its steps in the chart itself.",
        _pou("SFC", _START + _element("macroStep", 2, 'name="M"', "1")),
        "a macro step is not read",
        "macroStep",
    ),
    refused(
        "chart in an action",
        "Make it a FUNCTION_BLOCK of its own.",
        _pou(
            "SFC",
            _START
            + _transition(3, "1", _inline("a"))
            + _BACK
            + _element(
                "actionBlock", 4, "", "1", inside="<action><inline><SFC/></inline></action>"
            ),
        ),
        "a chart inside of an action is not read",
    ),
)

FILES = (
    taken(
        "exchange file",
        "A file that ends in .xml, of TC6 2.01 or earlier, or of IEC 61131-10 where it is built "
        "alike, beside files of text or alone: units, "
        "types, globals, tasks. Bodies in ST stand in it bare, or in any element of XHTML.",
        _pou("ST", "<p xmlns='http://www.w3.org/1999/xhtml'>q := NOT a;</p>"),
        *("XML", "TC6", "pou", "project"),
        q=1,
    ),
    left_out(
        "additional data",
        "Methods, properties, inheritance, further units, lists of globals, declarations in text "
        "and values of inputs are read; what sounds like a part of the program and is not known is "
        "refused; all else is not considered.",
        _pou("ST", "q := TRUE;").replace(
            "</pou>",
            ' <addData><data name="http://editor.example/colours"><c>red</c></data></addData>\n'
            "</pou>",
        ),
        "additional data 'colours' were not considered",
        "addData",
    ),
    refused(
        "body in IL",
        "Instruction List is not read; write it in ST, LD or FBD.",
        _pou("IL", "LD a"),
        "Instruction List (IL) is not read",
        "IL",
    ),
    refused(
        "document type",
        "Document types and entities are refused before they mean anything, and nothing is "
        "fetched. Size, number and depth of elements are bounded.",
        '<!DOCTYPE project [<!ENTITY a "a">]>\n<project/>',
        "a document type or an entity has no place in an exchange file",
        *("DOCTYPE", "entity"),
    ),
)

DRAWN: Mapping[str, tuple[Construct, ...]] = MappingProxyType(
    {"ladder and blocks": NETWORKS, "drawn charts": CHARTS, "files": FILES}
)
"""All that the exchange format has, by what it belongs to."""
