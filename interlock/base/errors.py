"""Mistakes that a user can make, each told in one line with its place."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from traceback import walk_tb

from interlock.base.visible import in_one_line


@dataclass(frozen=True, order=True)
class Place:
    """Where something stands in a file the user wrote; line and column count from 1.

    Attributes
    ----------
    unit, element : str
        In a drawn program what it stands in and which element it is, as in ``PROGRAM Main`` and
        ``contact 14 (door)``; else empty. Places that differ in these alone are the same.
    """

    file: str
    line: int
    column: int
    unit: str = field(default="", compare=False)
    element: str = field(default="", compare=False)

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}:{self.column}"
        return ", ".join(filter(None, (where, self.unit, self.element)))

    @property
    def short(self) -> str:
        """Without folders and column: ``controller.st:12`` or ``plant.xml:12 (coil 7 (pump))``.

        >>> Place("a/plant.xml", 12, 5, "PROGRAM Main", "coil 7 (pump)").short
        'plant.xml:12 (coil 7 (pump))'
        """
        return f"{self.file_name}:{self.line}" + (f" ({self.element})" if self.element else "")

    @property
    def file_name(self) -> str:
        """The file's name without folders."""
        return self.file.replace("\\", "/").rsplit("/", 1)[-1]


def place_after(file: str, before: str) -> Place:
    """Where `file` goes on after `before`, its text from the start.

    >>> str(place_after("model.yaml", "title: Ramp\\nplant"))
    'model.yaml:2:6'
    """
    return Place(file, before.count("\n") + 1, len(before) - before.rfind("\n"))


@dataclass(frozen=True)
class Mistake:
    """One thing wrong with an input: its place and one clear sentence."""

    place: Place
    says: str

    def __str__(self) -> str:
        # What a user wrote is quoted; it must neither break the line nor turn it round.
        return in_one_line(f"{self.place}: {self.says}")


class InputError(Exception):
    """The input cannot be used.

    Parameters
    ----------
    mistakes : iterable of Mistake
        At least one. They are kept sorted by place, without repetitions.
    """

    def __init__(self, mistakes: Iterable[Mistake]) -> None:
        unique = dict.fromkeys(mistakes)
        self.mistakes: tuple[Mistake, ...] = tuple(
            sorted(unique, key=lambda m: (m.place.file, m.place.line, m.place.column, m.says))
        )
        if not self.mistakes:
            raise ValueError("an InputError needs at least one mistake")
        super().__init__("\n".join(str(mistake) for mistake in self.mistakes))

    def __reduce__(self) -> tuple[type[InputError], tuple[tuple[Mistake, ...]]]:
        # Exceptions go to other processes as what `super` was given.
        return type(self), (self.mistakes,)


class TooManyMistakesError(InputError):
    """The input has so many mistakes that nobody looks for more of them."""


# Of an input that is wrong throughout nobody reads more, and each takes a search for near names.
MOST_MISTAKES = 100


class NoClusterError(Exception):
    """A cluster's scheduler cannot be reached; the text says which and why."""


class MistakeList(list[Mistake]):
    """Mistakes found so far; where they become too many, the search ends.

    Raises
    ------
    TooManyMistakesError
        By `append` and `extend`, with all that were found.
    """

    def append(self, mistake: Mistake) -> None:
        """Note a mistake."""
        super().append(mistake)
        self._stop_if_many()

    def extend(self, mistakes: Iterable[Mistake]) -> None:
        """Note several mistakes."""
        super().extend(mistakes)
        self._stop_if_many()

    def _stop_if_many(self) -> None:
        if len(self) >= MOST_MISTAKES:
            says = f"{MOST_MISTAKES} mistakes up to here; mend these first"
            raise TooManyMistakesError([*self[:MOST_MISTAKES], Mistake(self[-1].place, says)])


class InternalError(Exception):
    """Two parts of interlock disagree. This is a defect of interlock and never a verdict."""


_LONGEST_DEFECT = 300


def defect_in_words(error: BaseException) -> str:
    """A defect of interlock in one line that is no verdict, with the place in interlock's code."""
    says = str(error)
    if not isinstance(error, InternalError):
        says = f"{type(error).__name__}: {error}" if says else type(error).__name__
    says = " ".join(says.split())[:_LONGEST_DEFECT]
    package = Path(__file__).parents[1]
    own = ""
    for frame, line in walk_tb(error.__traceback__):
        file = Path(frame.f_code.co_filename)
        if file.is_relative_to(package):
            own = f" ({file.relative_to(package).as_posix()}:{line})"
    return in_one_line(f"internal error, not a verdict: {says}{own}")


# Names of columns and the like may be of any length.
# A shorter name may be anybody's.
_SHORT = 4
_LONGEST = 60


def is_slip(name: str, known: Iterable[str]) -> bool:
    """Whether a name that is not known is surely meant for one that is.

    So it is where one letter is too many, missing, another or at its neighbour's place. A number
    in another place, as in ``Pump2`` for ``Pump1``, makes another name.

    >>> is_slip("BOLL", ["BOOL"]), is_slip("AXIS_REF", ["Axis"]), is_slip("Pump2", ["Pump1"])
    (True, False, False)
    """
    return any(_is_one_off(name.casefold(), candidate.casefold()) for candidate in known)


def _is_one_off(a: str, b: str) -> bool:
    if min(len(a), len(b)) < _SHORT or abs(len(a) - len(b)) > 1 or a == b:
        return False
    pairs = enumerate(zip(a, b, strict=False))
    at = next((n for n, (x, y) in pairs if x != y), min(len(a), len(b)))
    rest_a, rest_b = a[at:], b[at:]
    if any(part[:1].isdigit() for part in (rest_a, rest_b)):
        return False
    swapped = rest_a[:2] == rest_b[1::-1] and rest_a[2:] == rest_b[2:]
    return swapped or rest_b in (rest_a[1:], rest_b[:1] + rest_a[1:]) or rest_a == rest_b[1:]


def meant(name: str, known: Iterable[str]) -> str:
    """Return ``"; did you mean 'x'?"`` for the nearest known name, or nothing if none is near.

    >>> meant("BOOLNOT", ["INT", "BOOL"]), meant("Axis", ["INT", "BOOL"])
    ("; did you mean 'BOOL'?", '')
    """
    by_fold = {candidate.casefold(): candidate for candidate in sorted(set(known))}
    close = get_close_matches(name.casefold(), list(by_fold), n=1, cutoff=0.6)
    return f"; did you mean '{by_fold[close[0]][:_LONGEST]}'?" if close else ""


def nearest(name: str, known: Iterable[str]) -> str:
    """Return ``"; did you mean 'x'?"`` for the nearest known name, or the known names if few.

    >>> nearest("xfer_aa", ["xfer_a", "lift_up"])
    "; did you mean 'xfer_a'?"
    >>> nearest("zzz", ["xfer_a", "lift_up"])
    '; known: lift_up, xfer_a'
    """
    names = sorted(set(known))
    near = meant(name, names)
    if near or not names:
        return near
    shown = ", ".join(known[:_LONGEST] for known in names[:8])
    return f"; known: {shown}" + (", …" if len(names) > 8 else "")
