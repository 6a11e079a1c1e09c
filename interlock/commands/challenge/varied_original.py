"""The original of a challenge with all that it reaches known as a set; for many states.

What `kept_original` does state by state is done here by diagrams: the original is explored once,
and of a defect only what differs. Requirements are asked together and without observers.
"""

from __future__ import annotations

from collections.abc import Sequence

from interlock.commands.challenge.from_kept_states import Caught, Unnoticed, changes_of
from interlock.commands.challenge.kept_original import NeedsFullSearchError, over_variables_of
from interlock.commands.challenge.rerun import rerun
from interlock.kernel.asking import ask, ask_all
from interlock.kernel.expr import Expr
from interlock.kernel.query import Limits
from interlock.kernel.requirement import Requirement
from interlock.kernel.system import Stepper, System
from interlock.kernel.varied import Varied
from interlock.kernel.witness import Witness
from interlock.model.build import Built


class VariedOriginal:
    """The original of a challenge in one run class, its states known as a set.

    Parameters
    ----------
    original : Built
    known : Varied
        What it reaches.
    catching : sequence of str
        The requirements that hold of the original and may catch.
    limits : Limits
        For each defect.
    """

    def __init__(
        self, original: Built, known: Varied, catching: Sequence[str], limits: Limits
    ) -> None:
        self.original = original
        self.known = known
        self.limits = limits
        self._catching = frozenset(catching)
        self._found: dict[object, Caught | Unnoticed] = {}

    @property
    def n_states(self) -> int:
        """How many states the original reaches."""
        return self.known.n_states

    def occur(self, conditions: Sequence[Expr]) -> list[bool]:
        """For each condition whether some state meets it."""
        return [self.known.occurs(condition) for condition in conditions]

    def nearest(self, condition: Expr, most: int | None = None) -> Witness | None:
        """A shortest run to a state that meets it, up to `most` moves; None without one."""
        return self.known.nearest(condition, most)

    def search(self, changed: Built) -> Caught | Unnoticed:
        """Whether a requirement notices a changed model in the same run class.

        Raises
        ------
        NeedsFullSearchError
            Where that has to be found out the slow way.
        DeclinedError
            Where diagrams cannot take the changed model.
        """
        try:
            system = over_variables_of(self.original.system, changed.system)
        except NeedsFullSearchError:
            return self._searched(changed, changed.system)
        key = changes_of(self.original, changed, system)
        if key not in self._found:
            self._found[key] = self._searched(changed, system)
        return self._found[key]

    def _searched(self, changed: Built, system: System) -> Caught | Unnoticed:
        asked = [r for r in changed.requirements.values() if self._may_catch(r)]
        questions = ask_all(system, asked)
        flat = [(q.requirement, query) for q in questions for query in q.violations]
        found = self.known.first_found(system, [query for _, query in flat], self.limits)
        if found.limit is not None:
            raise NeedsFullSearchError(f"limit hit: {found.limit}")
        if found.number is None or found.witness is None:
            return Unnoticed(found.n_states)
        # Over the changed model's own variables, which may be fewer; only what it does counts.
        question = ask(changed.system, flat[found.number][0])
        witness = rerun(question, Stepper(changed.system), found.witness)
        if witness is None:
            raise NeedsFullSearchError("the run does not show it on the changed model")
        return Caught(question, witness, found.n_states, is_shortest=False)

    def _may_catch(self, requirement: Requirement) -> bool:
        # The changed program may leave a range or divide by zero, which the original cannot.
        return requirement.id in self._catching or (
            requirement.id not in self.original.requirements
        )
