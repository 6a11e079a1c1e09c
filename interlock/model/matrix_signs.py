"""What a sign in a matrix of causes and effects can mean, in plain words.

Houses use letters differently, so each letter has its meaning stated, in the matrix itself or in
the model file; X and 1 alone are known. A cell is judged after each scan of the program.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum

from interlock.model.patterns import POSSIBLE


class Meaning(Enum):
    """What a cause does to an effect, called as a legend calls it."""

    ON = "on"
    OFF = "off"
    STAYS_ON = "stays on"
    STAYS_OFF = "stays off"
    NEEDS = "needs"
    RESETS = "resets"

    @property
    def says(self) -> str:
        """The meaning in a sentence for a legend."""
        return _SAYS[self]

    @property
    def triggers(self) -> bool:
        """Whether the cause brings about or ends the effect, rather than permits or resets it."""
        return self not in (Meaning.NEEDS, Meaning.RESETS)


_SAYS = {
    Meaning.ON: "while the cause is there, the effect is there",
    Meaning.OFF: "while the cause is there, the effect is not there",
    Meaning.STAYS_ON: "from the cause on the effect is there, until a cause that resets it",
    Meaning.STAYS_OFF: "from the cause on the effect is not there, until a cause that resets it",
    Meaning.NEEDS: "the effect is there only while the cause is there",
    Meaning.RESETS: "the cause ends what stays on, and lets come again what stays off",
}
MEANINGS = tuple(meaning.value for meaning in Meaning)
KNOWN = {"X": Meaning.ON, "1": Meaning.ON}
# A cause of this name is there while none of the others is that act on the same effect.
OTHERWISE = ("else", "sonst", "otherwise")


def demand(
    meaning: Meaning, cause: str, effect: str, resets: Sequence[str], triggers: Sequence[str]
) -> tuple[dict[str, object], str]:
    """What a sign demands of a program.

    Parameters
    ----------
    meaning : Meaning
    cause, effect : str
        Expressions.
    resets : sequence of str
        The causes that reset the effect.
    triggers : sequence of str
        All causes that bring the effect about.

    Returns
    -------
    tuple of dict and str
        The keys of a requirement, and its sentence with ``{cause}`` and ``{effect}``.
    """
    match meaning:
        case Meaning.ON:
            return {"when": cause, "always": effect}, "While {cause}: {effect}"
        case Meaning.OFF:
            return {"when": cause, "never": effect}, "While {cause}: not {effect}"
        case Meaning.NEEDS:
            return {"when": effect, "always": cause}, "Only while {cause}: {effect}"
        case Meaning.RESETS if triggers:
            alone = f"({cause}) AND NOT ({any_of(triggers)})"
            return {"when": alone, "never": effect}, "{cause} ends: {effect}"
        case Meaning.RESETS:
            return {POSSIBLE: effect}, "After {cause} possible again: {effect}"
        case Meaning.STAYS_ON:
            kept, says = {"always": effect}, "From {cause} on: {effect}"
        case Meaning.STAYS_OFF:
            kept, says = {"never": effect}, "From {cause} on: not {effect}"
    if not resets:
        return {**kept, "scope": {"after": cause}}, f"{says}, for good"
    return {**kept, "scope": {"from": cause, "until": any_of(resets)}}, f"{says}, until reset"


def any_of(causes: Sequence[str]) -> str:
    """The expression that one of the causes is there.

    >>> any_of(["a", "NOT b"])
    '(a) OR (NOT b)'
    """
    return " OR ".join(f"({cause})" for cause in causes)
