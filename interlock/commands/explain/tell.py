"""How topics are told on a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from textwrap import wrap

from interlock.commands.explain.topics import Topic

_WIDTH = 96


def listed(topics: Iterable[Topic]) -> str:
    """The names of all topics, by what they belong to."""
    groups: dict[str, list[str]] = {}
    for topic in topics:
        said = f"{topic.name} ({topic.fate})" if topic.fate not in ("", "taken") else topic.name
        heading = f"{topic.sort}: {topic.group}" if topic.group else f"{topic.sort}s"
        groups.setdefault(heading, []).append(said)
    lines = []
    for heading, names in groups.items():
        lines += [heading, *_wrapped(" · ".join(names), "  ")]
    return "\n".join([*lines, "", "interlock explain WORD tells one of them."])


def told(topic: Topic) -> str:
    """All there is to know about a topic."""
    what = ", ".join(part for part in (topic.sort, topic.group) if part)
    fate = f": {topic.fate}" if topic.fate else ""
    lines = [f"{topic.name} ({what}){fate}", *_wrapped(topic.says, "  ")]
    if topic.example:
        lines += ["", *(f"    {line}" for line in topic.example.splitlines()), ""]
    for name, value in topic.facts:
        lines += _wrapped(f"{name}: {value}", "  ")
    others = [word for word in topic.words if word != topic.name]
    if others:
        lines += _wrapped(f"also: {' · '.join(dict.fromkeys(others))}", "  ")
    return "\n".join(lines)


def _wrapped(text: str, indent: str) -> Iterator[str]:
    yield from wrap(
        text, _WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
    )
