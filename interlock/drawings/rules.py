"""What a drawing may consist of: lists of what is allowed, never of what is not.

A model may come from anyone, and its drawing ends up in pages and documents. What could run, load
something from elsewhere or unfold into something huge has no place on these lists.
"""

from __future__ import annotations

import re

MAX_BYTES = 300_000
MAX_ELEMENTS = 4_000
MAX_DEPTH = 40
# Elements that all 'use' together may put into the picture.
MAX_USED = 10_000
# Elements that all references together may put into it: what is used, clip paths, patterns and
# markers, each as often as something carries it.
MAX_REPEATED = 100_000
MAX_CLASSES = 500

SVG = "http://www.w3.org/2000/svg"
XLINK = "http://www.w3.org/1999/xlink"
XML = "http://www.w3.org/XML/1998/namespace"


def _set(names: str) -> frozenset[str]:
    return frozenset(names.split())


GRADIENTS = _set("linearGradient radialGradient")
TEXTS = _set("text tspan")
ELEMENTS = (
    GRADIENTS
    | TEXTS
    | _set(
        "svg g defs title desc style rect circle ellipse line polyline polygon path use symbol "
        "marker stop pattern clipPath"
    )
)
# Elements that hold words; words elsewhere are only the white space of the file.
HOLD_WORDS = TEXTS | _set("title desc style")

# Properties that a style sheet, a style attribute or an attribute of the same name may set.
PROPERTIES = _set(
    "fill fill-opacity fill-rule stroke stroke-dasharray stroke-dashoffset stroke-linecap "
    "stroke-linejoin stroke-miterlimit stroke-opacity stroke-width opacity color display "
    "visibility font-family font-size font-style font-weight font-stretch text-anchor "
    "dominant-baseline letter-spacing word-spacing text-decoration clip-path clip-rule "
    "marker-start marker-mid marker-end stop-color stop-opacity paint-order vector-effect"
)
ATTRIBUTES = PROPERTIES | _set(
    "id class style transform d points x y x1 y1 x2 y2 width height r rx ry cx cy fx fy dx dy "
    "rotate textLength lengthAdjust pathLength viewBox preserveAspectRatio href offset "
    "gradientUnits gradientTransform spreadMethod patternUnits patternContentUnits "
    "patternTransform clipPathUnits markerWidth markerHeight markerUnits refX refY orient "
    "version baseProfile lang space"
)
# These say how the file is written and nothing about the picture.
NOT_DRAWN = _set("version baseProfile lang space class style")

_REASONS = {
    "script": "a drawing runs nothing",
    "foreignObject": "a drawing holds nothing but SVG",
    "image": "a drawing loads nothing",
    "a": "a drawing leads nowhere",
    "animate": "the state of the model moves a drawing, nothing else",
    "set": "the state of the model moves a drawing, nothing else",
}

ID = re.compile(r"[A-Za-z_][A-Za-z0-9_.-]*")
REFERENCE = re.compile(r"#([A-Za-z_][A-Za-z0-9_.-]*)")
URL = re.compile(r"url\(\s*(['\"]?)#([A-Za-z_][A-Za-z0-9_.-]*)\1\s*\)")
# Each name is tried once, from its first letter, and given up as a whole.
_FUNCTION = re.compile(r"(?<![A-Za-z-])([A-Za-z-]++)\s*+\(")
_FUNCTIONS = _set("rgb rgba hsl hsla url matrix translate scale rotate skewX skewY")


def why_not_element(name: str) -> str | None:
    """Why an element called `name` is refused, where there is more to say than that it is."""
    return _REASONS.get(name)


def why_not_value(name: str, value: str) -> str | None:
    """Why the value of an attribute or property is refused; None where it is allowed."""
    if "\\" in value or "\0" in value:
        # Escapes could spell 'url(' so that nobody sees it.
        return f"a backslash has no place in '{name}'"
    if name == "href":
        return None if REFERENCE.fullmatch(value) else "a drawing refers to nothing outside of it"
    for function in _FUNCTION.findall(value):
        if function not in _FUNCTIONS:
            return f"'{function[:40]}()' has no place in '{name}'"
    if "url(" in value and not URL.fullmatch(value.strip()):
        return "a drawing refers to nothing outside of it; write url(#id)"
    return None
