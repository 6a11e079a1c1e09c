"""Pictures inside a page: one tree of elements, no ids that meet, a name for who cannot see it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from xml.etree import ElementTree

from interlock.base.visible import made_visible
from interlock.pictures.dot import NotDrawnError, render
from interlock.pictures.picture import Picture

_SVG = "http://www.w3.org/2000/svg"
_XLINK = "{http://www.w3.org/1999/xlink}"
_REFERENCE = re.compile(r"url\(#([^)]+)\)")
_POINT = 4 / 3  # in pixels
# Wider than this, also in relation to its height, it is printed across; narrower, beside others.
_WIDE = 1.5
_WIDE_PX = 960
_SMALL_PX = 640
# On paper across, nobody could read what is wider than this.
_VAST_PX = 2200
# The same widths as the renderer reckoned with, wherever the first ones are installed.
_FONTS = {
    "Helvetica": "Liberation Sans, Arial, Helvetica, sans-serif",
    "Courier": "Liberation Mono, Courier New, Courier, monospace",
}


@dataclass(frozen=True)
class Figure:
    """A picture in a page.

    Attributes
    ----------
    id, title : str
    svg : str or None
        None where it could not be drawn.
    why : str
        Then the reason.
    form : str
        ``"across"`` where it is printed across the page, ``"small"`` where others stand beside
        it, ``"vast"`` where no paper is wide enough, else empty.
    """

    id: str
    title: str
    svg: str | None
    why: str = ""
    form: str = ""


def figures_of(pictures: Iterable[Picture], prefix: str = "") -> list[Figure]:
    """Draw pictures for a page; `prefix` tells those of one name apart."""
    return [figure_of(picture, f"{prefix}{picture.name}") for picture in pictures]


def figure_of(picture: Picture, id_: str) -> Figure:
    """Draw one picture for a page, with an id of its own."""
    text = picture.text
    if not picture.is_svg:
        try:
            text = render(text, "svg").decode("utf-8")
        except NotDrawnError as reason:
            return Figure(id_, picture.title, None, str(reason))
    svg, width, height = inlined(text, f"{id_}-", picture.title)
    return Figure(id_, picture.title, svg, form=_form(width, height))


def _form(width: float, height: float) -> str:
    if width < _SMALL_PX:
        return "small"
    if width > _VAST_PX:
        return "vast"
    return "across" if width > _WIDE_PX and width > _WIDE * height else ""


def inlined(text: str, prefix: str, title: str) -> tuple[str, float, float]:
    """SVG text for the inside of a page, with its width and height in pixels.

    Parameters
    ----------
    text : str
        A whole SVG file that interlock or its renderer wrote.
    prefix : str
        Stands before each id that something in the picture refers to; all other ids go.
    title : str
        What the picture is called by who cannot see it.
    """
    root = ElementTree.fromstring(text)
    _, _, width, height = map(float, root.get("viewBox", "0 0 1 1").split())
    if root.get("width", "").endswith("pt"):
        width, height = width * _POINT, height * _POINT
    says = " ".join(found.text or "" for found in root.findall(f"{{{_SVG}}}desc"))
    used = {name for element in root.iter() for name in _referred(element)}
    for element in list(root.iter()):
        element.tag = element.tag.removeprefix(f"{{{_SVG}}}")
        for child in list(element):
            # A tool tip of each node says only how the renderer calls it.
            if child.tag.removeprefix(f"{{{_SVG}}}") in ("title", "desc"):
                element.remove(child)
        _renamed(element, prefix, used)
    for name in ("aria-labelledby", "width", "height"):
        root.attrib.pop(name, None)
    root.set("width", f"{width:.0f}")
    root.set("height", f"{height:.0f}")
    root.set("role", "img")
    root.set("aria-label", made_visible(f"{title}. {says}".strip() if says else title))
    return ElementTree.tostring(root, encoding="unicode").strip(), width, height


def _referred(element: ElementTree.Element) -> Iterable[str]:
    for name, value in element.attrib.items():
        if name in ("href", f"{_XLINK}href") and value.startswith("#"):
            yield value[1:]
        yield from _REFERENCE.findall(value)


def _renamed(element: ElementTree.Element, prefix: str, used: set[str]) -> None:
    for name, value in list(element.attrib.items()):
        if name == "id":
            del element.attrib[name]
            if value in used:
                element.set("id", prefix + value)
        elif name in ("href", f"{_XLINK}href"):
            del element.attrib[name]
            if value.startswith("#"):
                element.set("href", f"#{prefix}{value[1:]}")
        elif name == "font-family":
            first = value.split(",")[0].strip()
            element.set(name, _FONTS.get(first, value))
        elif name == "class":
            # The page's style sheet is not meant for the inside of pictures.
            del element.attrib[name]
        elif "url(#" in value:
            element.set(name, _REFERENCE.sub(rf"url(#{prefix}\1)", value))
