"""A drawing and its elements, as they were read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from interlock.base.errors import Place
from interlock.drawings.style_sheet import Rules


@dataclass(frozen=True)
class Node:
    """An element; words among its children are texts.

    Attributes
    ----------
    tag : str
    attributes : dict of str to str
        Without namespaces.
    place : Place
    style : dict of str to str
        Properties of its style attribute.
    children : list of Node or str
    """

    tag: str
    attributes: dict[str, str]
    place: Place
    style: dict[str, str] = field(default_factory=dict)
    children: list[Node | str] = field(default_factory=list)

    @property
    def id(self) -> str | None:
        """Its id."""
        return self.attributes.get("id")

    @property
    def elements(self) -> list[Node]:
        """Its children that are elements."""
        return [child for child in self.children if isinstance(child, Node)]

    @property
    def words(self) -> str:
        """The words in it, white space folded."""
        return " ".join("".join(c for c in self.children if isinstance(c, str)).split())

    def all(self) -> Iterator[Node]:
        """This element and every one below it, in the order written."""
        yield self
        for child in self.elements:
            yield from child.all()


@dataclass(frozen=True)
class Drawing:
    """A drawing that was read and found harmless.

    Attributes
    ----------
    file : str
    root : Node
        The ``svg`` element.
    box : tuple of float
        Left, top, width and height of its ``viewBox``.
    classes : Rules
        What each class looks like.
    says : str
        The words of its ``desc``.
    """

    file: str
    root: Node
    box: tuple[float, float, float, float]
    classes: Rules
    says: str

    @property
    def ids(self) -> dict[str, Node]:
        """Every element that has an id."""
        return {node.id: node for node in self.root.all() if node.id is not None}
