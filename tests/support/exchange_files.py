"""Files of the open XML exchange format, written for tests."""

from __future__ import annotations

from dataclasses import dataclass, field
from xml.sax.saxutils import escape, quoteattr

NAMESPACE = "http://www.plcopen.org/xml/tc6_0201"
_HEAD = """<?xml version="1.0" encoding="utf-8"?>
<project xmlns="{namespace}" xmlns:xhtml="http://www.w3.org/1999/xhtml">
  <fileHeader companyName="Works" productName="Editor" productVersion="1" \
creationDateTime="2020-01-01T00:00:00"/>
  <contentHeader name="Plant"><coordinateInfo><fbd><scaling x="1" y="1"/></fbd>\
<ld><scaling x="1" y="1"/></ld><sfc><scaling x="1" y="1"/></sfc></coordinateInfo></contentHeader>
  <types>
    <dataTypes>{types}</dataTypes>
    <pous>
{pous}
    </pous>
  </types>
  <instances><configurations>{configurations}</configurations></instances>
</project>
"""
SECTIONS = {
    "VAR_INPUT": "inputVars",
    "VAR_OUTPUT": "outputVars",
    "VAR_IN_OUT": "inOutVars",
    "VAR": "localVars",
    "VAR_TEMP": "tempVars",
    "VAR_EXTERNAL": "externalVars",
}
ELEMENTARY = ("BOOL", "BYTE", "WORD", "DWORD", "INT", "DINT", "UINT", "UDINT", "REAL", "TIME")


def typed(name: str) -> str:
    """The element of a type."""
    if name in ELEMENTARY:
        return f"<{name}/>"
    return "<string/>" if name == "STRING" else f"<derived name={quoteattr(name)}/>"


def variable(declared: str) -> str:
    """The element of a variable declared as ``name : TYPE := value``, with ``AT`` as in text."""
    head, _, tail = declared.partition(":")
    type_name, _, value = tail.strip().partition(":=")
    name, _, address = head.strip().partition(" AT ")
    at = f" address={quoteattr(address.strip())}" if address else ""
    initial = ""
    if value.strip():
        simple = f"<simpleValue value={quoteattr(value.strip())}/>"
        initial = f"<initialValue>{simple}</initialValue>"
    return (
        f"<variable name={quoteattr(name.strip())}{at}>"
        f"<type>{typed(type_name.strip())}</type>{initial}</variable>"
    )


def interface(returns: str = "", **sections: str) -> str:
    """An interface; each section has variables as `variable` takes them, with ``;`` between."""
    parts = [f"<returnType>{typed(returns)}</returnType>"] if returns else []
    for kind, text in sections.items():
        inner = "".join(variable(one) for one in text.split(";") if one.strip())
        parts.append(f"<{SECTIONS[kind]}>{inner}</{SECTIONS[kind]}>")
    return f"<interface>{''.join(parts)}</interface>"


def pou(name: str, body: str, faces: str, kind: str = "program", more: str = "") -> str:
    """A unit; `more` stands before its body: actions and transitions."""
    return f'<pou name="{name}" pouType="{kind}">{faces}{more}\n<body>{body}</body></pou>'


def project(
    *pous: str, types: str = "", configurations: str = "", namespace: str = NAMESPACE
) -> str:
    """A whole file."""
    return _HEAD.format(
        namespace=namespace, types=types, pous="\n".join(pous), configurations=configurations
    )


def st_body(text: str) -> str:
    """A body in Structured Text."""
    return f"<ST><xhtml:p>{escape(text)}</xhtml:p></ST>"


Wire = str | tuple[str, str]
"""A localId, with the output of a block where it has several."""


@dataclass
class Sheet:
    """A drawn body to which elements are added; each has its localId and stands right of the last.

    Attributes
    ----------
    parts : list of str
    row : int
        From the top; elements are added in this row.
    """

    parts: list[str] = field(default_factory=list)
    row: int = 0
    column: int = 0
    count: int = 0

    def rung(self, row: int | None = None) -> None:
        """Go on at the left of the next row, or of `row`."""
        self.row = self.row + 1 if row is None else row
        self.column = 0

    def add(self, tag: str, inside: str, at: tuple[int, int] | None = None, **words: object) -> str:
        """Add an element; returns its localId."""
        self.count += 1
        self.column += 1
        y, x = at or (self.row, self.column)
        given = {key.rstrip("_"): str(value) for key, value in words.items() if value is not None}
        said = "".join(f" {key}={quoteattr(value)}" for key, value in given.items())
        self.parts.append(
            f'<{tag} localId="{self.count}"{said}><position x="{10 * x}" y="{10 * y}"/>'
            f"{inside}</{tag}>"
        )
        return str(self.count)

    def rail(self) -> str:
        """A power rail at the left."""
        return self.add("leftPowerRail", '<connectionPointOut formalParameter=""/>')

    def contact(self, name: str, *left: Wire, **words: object) -> str:
        """A contact behind `left`."""
        return self.add("contact", _in(left) + _OUT + _variable(name), **words)  # type: ignore[arg-type]

    def coil(self, name: str, *left: Wire, **words: object) -> str:
        """A coil behind `left`."""
        return self.add("coil", _in(left) + _OUT + _variable(name), **words)  # type: ignore[arg-type]

    def value(self, text: str, **words: object) -> str:
        """An expression that is read."""
        inside = f"{_OUT}<expression>{escape(text)}</expression>"
        return self.add("inVariable", inside, **words)  # type: ignore[arg-type]

    def assign(self, text: str, *source: Wire, **words: object) -> str:
        """A variable that is assigned."""
        inside = f"{_in(source)}<expression>{escape(text)}</expression>"
        return self.add("outVariable", inside, **words)  # type: ignore[arg-type]

    def block(
        self,
        type_name: str,
        inputs: dict[str, Wire | None],
        outputs: str = "",
        instance: str | None = None,
        in_outs: dict[str, Wire] | None = None,
        signs: dict[str, str] | None = None,
        **words: object,
    ) -> str:
        """A block; `signs` are further attributes of its pins, such as ``negated="true"``."""
        signs = signs or {}

        def pin(name: str, wire: Wire | None, inner: str = "") -> str:
            point = _in(() if wire is None else (wire,))
            sign = f" {signs[name]}" if name in signs else ""
            return f'<variable formalParameter="{name}"{sign}>{point}{inner}</variable>'

        given = "".join(pin(name, wire) for name, wire in inputs.items())
        both = "".join(pin(name, wire, _OUT) for name, wire in (in_outs or {}).items())
        gives = "".join(
            f'<variable formalParameter="{name}"{" " + signs[name] if name in signs else ""}>'
            f"{_OUT}</variable>"
            for name in (outputs.split(",") if outputs is not None else ())
        )
        inside = (
            f"<inputVariables>{given}</inputVariables><inOutVariables>{both}</inOutVariables>"
            f"<outputVariables>{gives}</outputVariables>"
        )
        return self.add("block", inside, typeName=type_name, instanceName=instance, **words)

    def end(self, tag: str, *source: Wire, **words: object) -> str:
        """A jump, a return, a label, a connector or what else has one input and no text."""
        return self.add(tag, _in(source) if source else "", **words)  # type: ignore[arg-type]

    def body(self, language: str) -> str:
        """The body."""
        return f"<{language}>\n" + "\n".join(self.parts) + f"\n</{language}>"


_OUT = "<connectionPointOut/>"


def _in(wires: tuple[Wire, ...]) -> str:
    connections = ""
    for wire in wires:
        id_, formal = wire if isinstance(wire, tuple) else (wire, "")
        named = f' formalParameter="{formal}"' if formal else ""
        connections += f'<connection refLocalId="{id_}"{named}/>'
    return f"<connectionPointIn>{connections}</connectionPointIn>"


def _variable(name: str) -> str:
    return f"<variable>{escape(name)}</variable>"
