"""The elements of the exchange format, and which may stand in which.

Source: XML formats for IEC 61131-3, version 2.01, of the trade's committee TC6: the schema. Earlier
versions have no elements beside these.
"""

from __future__ import annotations

from interlock.base.errors import InputError, Mistake, MistakeList, nearest
from interlock.exchange.elements import Element

_NAMESPACE = "http://www.plcopen.org/xml/tc6"
_SECOND_EDITION = "www.iec.ch/public/TC65SC65BWG7TF10"
ROOTS = ("project", "pou")

_TYPES = (
    "BOOL BYTE WORD DWORD LWORD SINT INT DINT LINT USINT UINT UDINT ULINT REAL LREAL TIME DATE DT "
    "TOD LTIME LDATE LDT LTOD CHAR WCHAR BIT string wstring STRING WSTRING ANY ANY_DERIVED "
    "ANY_ELEMENTARY ANY_MAGNITUDE ANY_NUM ANY_REAL ANY_INT ANY_BIT ANY_STRING ANY_DATE array "
    "derived enum struct subrangeSigned subrangeUnsigned pointer reference"
)
_VALUES = "simpleValue arrayValue structValue"
_SECTIONS = "localVars tempVars inputVars outputVars inOutVars externalVars globalVars accessVars"
_BODIES = "IL ST FBD LD SFC"
_COMMON = "comment error connector continuation actionBlock vendorElement"
_FBD = f"{_COMMON} block inVariable outVariable inOutVariable label jump return"
# Ladder that stands in a diagram of blocks is drawn by some editors.
_LD = f"{_FBD} leftPowerRail rightPowerRail coil contact"
_SFC = (
    f"{_LD} step macroStep jumpStep transition selectionDivergence selectionConvergence "
    "simultaneousDivergence simultaneousConvergence"
)
_DRAWN = "position connectionPointIn connectionPointOut"
_PINS = "inputVariables inOutVariables outputVariables"

# What may stand in each element; what has the same name in different places has all of it.
_IN: dict[str, str] = {
    "project": "fileHeader contentHeader types instances",
    "types": "dataTypes pous",
    "dataTypes": "dataType",
    "dataType": "baseType initialValue",
    "baseType": _TYPES,
    "type": _TYPES,
    "returnType": _TYPES,
    "array": "dimension baseType",
    "enum": "values baseType",
    "values": "value",
    "struct": "variable",
    "subrangeSigned": "range baseType",
    "subrangeUnsigned": "range baseType",
    "pointer": "baseType",
    "reference": "baseType",
    "initialValue": _VALUES,
    "arrayValue": "value",
    "structValue": "value",
    "value": _VALUES,
    "pous": "pou",
    "pou": "interface actions transitions body",
    "interface": f"returnType {_SECTIONS}",
    **dict.fromkeys(_SECTIONS.split(), "variable accessVariable"),
    # Of a declaration, of a contact and of a block.
    "variable": f"type initialValue {_DRAWN} {_VALUES}",
    "actions": "action",
    "transitions": "transition",
    "action": f"body relPosition reference inline {_DRAWN}",
    "body": _BODIES,
    "inline": _BODIES,
    "FBD": _LD,
    "LD": _LD,
    "SFC": _SFC,
    "connector": _DRAWN,
    "continuation": _DRAWN,
    "actionBlock": f"{_DRAWN} action",
    "vendorElement": f"position alternativeText {_PINS}",
    "block": f"position {_PINS}",
    **dict.fromkeys(_PINS.split(), "variable"),
    **dict.fromkeys(("inVariable", "outVariable", "inOutVariable"), f"{_DRAWN} expression"),
    **dict.fromkeys(("label", "jump", "return"), _DRAWN),
    **dict.fromkeys(("leftPowerRail", "rightPowerRail"), _DRAWN),
    **dict.fromkeys(("coil", "contact"), f"{_DRAWN} variable"),
    "connectionPointIn": "relPosition connection expression",
    "connectionPointOut": "relPosition expression connection",
    "connectionPointOutAction": "relPosition expression",
    "connection": "position",
    "step": f"{_DRAWN} connectionPointOutAction",
    "macroStep": f"{_DRAWN} body",
    "jumpStep": _DRAWN,
    "transition": f"body condition {_DRAWN}",
    "condition": "reference connectionPointIn connection inline",
    **dict.fromkeys(
        (
            "selectionDivergence",
            "selectionConvergence",
            "simultaneousDivergence",
            "simultaneousConvergence",
        ),
        _DRAWN,
    ),
    "instances": "configurations",
    "configurations": "configuration",
    "configuration": "resource globalVars accessVars configVars",
    "resource": "task globalVars pouInstance",
    "task": "pouInstance",
    "pouInstance": "",
    "configVars": "configVariable",
}
_ALLOWED = {name: frozenset(inner.split()) for name, inner in _IN.items()}
_ANYWHERE = frozenset(("addData", "documentation", "attributes"))
# Where text, headers and what is nobody's business here stand.
_CLOSED = frozenset(
    (
        *("addData", "documentation", "attributes", "alternativeText", "content", "ST", "IL"),
        *("fileHeader", "contentHeader", "comment", "error", "configVars", "accessVars"),
    )
)


def check_root(root: Element) -> None:
    """Refuse a document that is of another format.

    Raises
    ------
    InputError
    """
    is_second = root.namespace.removeprefix("http://").casefold() == _SECOND_EDITION.casefold()
    if is_second and root.name not in ROOTS:
        root.refuse(
            "the format of IEC 61131-10 is read only where it is built like that of TC6, with "
            f"'project' as its root and not '{root.name[:60]}'; export in the format of TC6 2.01"
        )
    if is_second:
        return
    if root.namespace and not root.namespace.startswith(_NAMESPACE):
        says = f"the namespace '{root.namespace[:80]}' is not that of the exchange format"
        root.refuse(f"{says}; expected {_NAMESPACE}_0201")
    if root.name not in ROOTS:
        known = " or ".join(f"'{name}'" for name in ROOTS)
        root.refuse(f"'{root.name[:60]}' is no root of an exchange file; expected {known}")


def check_elements(root: Element) -> None:
    """Refuse elements that the format does not have, or not where they stand.

    Raises
    ------
    InputError
        With one mistake for each name in each element.
    """
    mistakes = MistakeList()
    told: set[tuple[str, str]] = set()
    waiting = [root]
    while waiting:
        node = waiting.pop()
        if node.name in _CLOSED or node.name not in _ALLOWED:
            continue
        allowed = _ALLOWED[node.name]
        for child in node.children:
            if child.name in allowed or child.name in _ANYWHERE:
                waiting.append(child)
            elif (node.name, child.name) not in told:
                told.add((node.name, child.name))
                says = f"'{child.name[:60]}' has no place in '{node.name}'"
                mistakes.append(Mistake(child.place, says + nearest(child.name[:60], allowed)))
    if mistakes:
        raise InputError(mistakes)
