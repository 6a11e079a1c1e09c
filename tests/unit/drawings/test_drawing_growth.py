"""Reading a drawing twice as large is twice the work, whatever the drawing tries."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable

import pytest

from interlock.base.errors import MOST_MISTAKES, InputError, Place
from interlock.drawings import rules
from interlock.drawings.drawing import read_drawing
from tests.support.work import work_of

FILE = "mimic.svg"
USE, USE_B, CLIPPED = "<use href='#a'/>", "<use href='#b'/>", "<path clip-path='url(#a)'/>"
SECONDS = 120  # until the process is killed; all together take three


def drawn(body: str) -> str:
    return f'<svg xmlns="{rules.SVG}" viewBox="0 0 100 50">{body}</svg>'


def styled(sheet: str) -> str:
    return drawn(f"<style>{sheet}</style>")


# What each repeats grows with the number that it is given.
GROWING: dict[str, Callable[[int], str]] = {
    "properties": lambda n: drawn(f"<g style='{'fill:red;' * n}'/>"),
    "unknown properties": lambda n: drawn(f"<g style='{'filll:red;' * n}'/>"),
    "rules of one class": lambda n: styled(".a{fill:red}\n" * n),
    "rules without a class": lambda n: styled("a{fill:red}\n" * n),
    "classes of nodes": lambda n: (
        styled("".join(f".a{i}{{fill:red}}" for i in range(n))).removesuffix("</svg>")
        + "<g class='a1 a2'/>" * n
        + "</svg>"
    ),
    "unknown elements": lambda n: drawn("<gg/>" * n),
    "unknown attributes": lambda n: drawn(" ".join(["<g", *(f"a{i}=''" for i in range(n)), "/>"])),
    "words": lambda n: drawn("word\n" * n),
    "references to nothing": lambda n: drawn(
        "".join(f"<g id='a{i}'/><use href='#b{i}'/>" for i in range(n))
    ),
    "uses of something large": lambda n: drawn(f"<g id='a'>{'<path/>' * n}</g>{USE * n}"),
    "clip paths of something large": lambda n: drawn(
        f"<clipPath id='a'>{'<path/>' * n}</clipPath>{CLIPPED * n}"
    ),
    "clip paths in each other": lambda n: drawn(
        "".join(f"<clipPath id='a{i}'>" for i in range(30))
        + "<path/>" * n
        + "</clipPath>" * 30
        + "".join(f"<g clip-path='url(#a{i % 30})'/>" for i in range(n))
    ),
    "a net of clip paths": lambda n: drawn(
        "".join(
            f"<clipPath id='a{i}'>" + f"<path clip-path='url(#a{i + 1})'/>" * 10 + "</clipPath>"
            for i in range(n // 10)
        )
        + f"<clipPath id='a{n // 10}'/>"
    ),
    "gradients in a chain": lambda n: drawn(
        "".join(f"<linearGradient id='a{i}' href='#a{i + 1}'/>" for i in range(n))
        + f"<linearGradient id='a{n}'/>"
    ),
}


@pytest.mark.parametrize("what", GROWING)
def test_twice_as_large_is_twice_the_work(what: str) -> None:
    small, large = (GROWING[what](n) for n in (300, 600))
    works = [work_of(lambda text=text: read_drawing(text, FILE)) for text in (small, large)]  # type: ignore[misc]
    assert works[1] < 2.3 * works[0], works


# Each as large as a drawing may be; their work is done by functions that nobody can count.
N = rules.MAX_BYTES - 1_000
LARGEST: dict[str, Callable[[int], str]] = {
    "a transform": lambda n: drawn(f"<g transform='{'a' * n}'/>"),
    "a transform of blanks": lambda n: drawn(f"<g transform='a{' ' * n}'/>"),
    "a transform of words": lambda n: drawn(f"<g transform='{'a ' * (n // 2)}'/>"),
    "a transform of hyphens": lambda n: drawn(f"<g transform='{'-' * n}'/>"),
    "a property": lambda n: drawn(f"<g style='fill: {'a' * n}'/>"),
    "an address of blanks": lambda n: drawn(f"<g fill='url({' ' * n}'/>"),
    "addresses in each other": lambda n: drawn(f"<g fill='{'url(#a' * (n // 6)}'/>"),
    "a sheet of words": lambda n: styled("a" * n),
    "a sheet of blanks": lambda n: styled(" " * n),
    "a sheet of open rules": lambda n: styled("a{" * (n // 2)),
    "a sheet of closed rules": lambda n: styled("a}" * (n // 2)),
    "a sheet of open comments": lambda n: styled("/*" * (n // 2)),
    "a sheet of half comments": lambda n: styled("/*/" * (n // 3)),
    "a sheet of empty rules": lambda n: styled(".a{}" * (n // 4)),
    "a sheet of classes": lambda n: styled("".join(f".a{i}{{}}" for i in range(n // 9))),
    "a sheet of selectors": lambda n: styled(f".a{',.a' * (n // 3)}{{}}"),
    "a sheet of properties": lambda n: styled(f".a{{{'a:b;' * (n // 4)}}}"),
    "an element's name": lambda n: drawn(f"<{'g' * n}/>"),
    "an attribute's name": lambda n: drawn(f"<g {'g' * n}=''/>"),
    "classes": lambda n: drawn(f"<g class='{'a ' * (n // 2)}'/>"),
    "signs": lambda n: drawn(f"<text>{'&amp;' * (n // 5)}</text>"),
    **{name: lambda n, make=make: make(n // 80) for name, make in GROWING.items()},
}
READ = """
import sys
from interlock.base.errors import InputError
from interlock.drawings.drawing import read_drawing
from tests.unit.drawings.test_drawing_growth import LARGEST, N

for name in sys.argv[1:]:
    print(name, flush=True)
    try:
        read_drawing(LARGEST[name](N), "mimic.svg")
    except InputError as error:
        assert all(len(str(mistake)) < 500 for mistake in error.mistakes), name
print("all")
"""


def test_the_largest_drawings_are_read_or_refused_before_anybody_stops_waiting() -> None:
    command = [sys.executable, "-c", READ, *LARGEST]
    try:
        ended = subprocess.run(command, capture_output=True, text=True, timeout=SECONDS)
    except subprocess.TimeoutExpired as late:
        said = (late.stdout or b"").decode()
        pytest.fail(f"still at it after {SECONDS} s: {said.splitlines()[-1:]}")
    assert ended.stdout.endswith("all\n"), ended.stdout + ended.stderr


MARK = "«"
TOO_MUCH = f"references repeat more than {rules.MAX_REPEATED:,} elements"
CLASSES = [f".a{i}{{}}" for i in range(rules.MAX_CLASSES + 9)]
CLASSES[rules.MAX_CLASSES] = MARK + CLASSES[rules.MAX_CLASSES]
# The sign « is taken out; it marks the place at which the drawing becomes too large.
LARGE = {
    "mistakes": (
        "<gg/>" * (MOST_MISTAKES - 1) + MARK + "<gg/>" * 900,
        "mend these first",
    ),
    "classes": (
        f"<style>{''.join(CLASSES)}</style>",
        f"more than {rules.MAX_CLASSES:,} classes",
    ),
    "uses": (
        f"<g id='a'>{'<path/>' * 99}</g>{USE * 100}{MARK}{USE * 9}",
        f"'use' repeats more than {rules.MAX_USED:,} elements",
    ),
    "clip paths": (
        f"<clipPath id='a'>{'<path/>' * 999}</clipPath>{CLIPPED * 100}{MARK}{CLIPPED * 9}",
        TOO_MUCH,
    ),
    "clip paths in what is used": (
        f"<clipPath id='a'>{'<path/>' * 99}</clipPath><g id='b'>{CLIPPED * 40}</g>"
        # The group itself repeats 4,000, each use of it puts 4,041 more into the picture.
        f"{USE_B * 23}{MARK}{USE_B * 9}",
        TOO_MUCH,
    ),
    "markers at each corner": (
        f"<marker id='a'>{'<path/>' * 99}</marker>"
        f"{MARK}<g marker-mid='url(#a)'><path d='M0 0{' 1 1' * 1_001}'/></g>",
        TOO_MUCH,
    ),
    "patterns that are inherited": (
        f"<pattern id='a'>{'<path/>' * 199}</pattern>{MARK}<g fill='url(#a)'>{'<path/>' * 500}</g>",
        TOO_MUCH,
    ),
}


@pytest.mark.parametrize("what", LARGE)
def test_what_is_too_large_is_refused_with_its_place(what: str) -> None:
    body, says = LARGE[what]
    before, _, _ = drawn(body).partition(MARK)
    with pytest.raises(InputError) as caught:
        read_drawing(drawn(body).replace(MARK, ""), FILE)
    (told,) = (mistake for mistake in caught.value.mistakes if says in mistake.says)
    assert told.place == Place(FILE, 1, len(before) + 1)


@pytest.mark.parametrize("n", [23, 24])
def test_what_is_just_small_enough_is_read(n: int) -> None:
    body, _ = LARGE["clip paths in what is used"]
    text = drawn(body.partition(MARK)[0] + USE_B * (n - 23))
    if n == 23:
        assert len(list(read_drawing(text, FILE).root.all())) > n
    else:
        with pytest.raises(InputError):
            read_drawing(text, FILE)
