"""Elements of a document that is written, and their text."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from xml.sax.saxutils import escape, quoteattr

NAMESPACE = "http://www.plcopen.org/xml/tc6_0201"
_XHTML = "http://www.w3.org/1999/xhtml"
_INDENT = " "


@dataclass
class Tag:
    """An element.

    Attributes
    ----------
    name : str
    words : dict of str to str
        Its attributes.
    inner : list of Tag
    text : str
        Stands in it in place of elements, as it is.
    """

    name: str
    words: dict[str, str] = field(default_factory=dict)
    inner: list[Tag] = field(default_factory=list)
    text: str = ""

    def write(self) -> str:
        """The lines of a document with this element as its root."""
        lines = ['<?xml version="1.0" encoding="utf-8"?>', *self._lines("")]
        return "\n".join(lines) + "\n"

    def _lines(self, indent: str) -> Iterator[str]:
        said = "".join(f" {key}={quoteattr(value, _KEPT)}" for key, value in self.words.items())
        head = f"{indent}<{self.name}{said}"
        if self.text:
            yield f"{head}>{escape(self.text, _KEPT_IN_TEXT)}</{self.name}>"
        elif not self.inner:
            yield f"{head}/>"
        else:
            yield f"{head}>"
            for tag in self.inner:
                yield from tag._lines(indent + _INDENT)
            yield f"{indent}</{self.name}>"


# A reader takes line ends in attributes for blanks, and a carriage return for a line feed.
_KEPT = {"\n": "&#10;", "\t": "&#9;", "\r": "&#13;"}
_KEPT_IN_TEXT = {"\r": "&#13;"}


def tag(name: str, /, *inner: Tag | None, text: str = "", **words: object) -> Tag:
    """An element; what is None or has the value None is left out, ``_`` behind a name as well."""
    said = {key.rstrip("_"): _said(value) for key, value in words.items() if value is not None}
    return Tag(name, said, [one for one in inner if one is not None], text)


def tag_of(name: str, words: Mapping[str, object], *inner: Tag | None) -> Tag:
    """As `tag`, with its attributes as a mapping."""
    said = {key: _said(value) for key, value in words.items() if value is not None}
    return Tag(name, said, [one for one in inner if one is not None])


def _said(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def formatted(text: str) -> Tag:
    """Text as the format holds it: in an element of XHTML."""
    return Tag("xhtml:p", {}, [], text)


def documentation(comments: Iterable[str]) -> Tag | None:
    """What was written in comments, as an element; None where there is none."""
    text = "\n".join(comments)
    return tag("documentation", formatted(text)) if text.strip() else None


def document(name: str, comment: str, *inner: Tag) -> Tag:
    """The root of a file: its heads, then `inner`.

    Parameters
    ----------
    name : str
        Of the project.
    comment : str
        Empty where there is none.
    """
    scaling = [tag(one, tag("scaling", x=1, y=1)) for one in ("fbd", "ld", "sfc")]
    # Written again, the same program gives the same bytes: so there is no date of today.
    head = tag(
        "fileHeader",
        companyName="interlock",
        productName="interlock export",
        productVersion="1",
        creationDateTime="2020-01-01T00:00:00",
    )
    said = tag("Comment", text=comment) if comment.strip() else None
    content = tag("contentHeader", said, tag("coordinateInfo", *scaling), name=name)
    spaces = {"xmlns": NAMESPACE, "xmlns:xhtml": _XHTML}
    return Tag("project", spaces, [head, content, *inner])
