"""The run classes that a model's own claims ask for, whatever evidence says of them."""

from __future__ import annotations

from collections.abc import Mapping

from interlock.evidence.manifest import ClassEntry, bad
from interlock.model.build import FAULT_FREE, RunClass
from interlock.model.model import Model


class Claims:
    """Under how many faults each requirement of a model is to be judged.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        self._statements = model.statements
        self._independent = model.independent_faults
        self.most = max((self.of(id_) for id_ in model.statements), default=0)

    def of(self, requirement: str) -> int:
        """So many faults the requirement claims to survive; 0 where there is none to strike."""
        statement = self._statements.get(requirement)
        return statement.survives if statement is not None and self._independent else 0

    def classes(self, said: Mapping[str, ClassEntry], file: str) -> dict[str, RunClass]:
        """The run classes by the names that evidence gives them.

        Parameters
        ----------
        said : mapping of str to ClassEntry
            What the evidence says of each.
        file : str
            Where it does, for messages.

        Raises
        ------
        InputError
            Where that is not a class that the model's claims ask for.
        """
        asked = {_said_of(c): c for c in map(self._with, range(self.most + 1))}
        for name, entry in said.items():
            if _of_entry(entry) not in asked:
                wanted = "; ".join(run_class.says for run_class in asked.values())
                says = (
                    f"the run class '{name}' is none that the model's claims ask for; those, with"
                    f" every independent fault of the model and no human error, are: {wanted}"
                )
                raise bad(file, says)
        return {name: asked[_of_entry(entry)] for name, entry in said.items()}

    def _with(self, n_faults: int) -> RunClass:
        return RunClass(self._independent, n_faults) if n_faults else FAULT_FREE


_Said = tuple[tuple[str, ...], int | None, bool]


def _said_of(run_class: RunClass) -> _Said:
    return run_class.faults, run_class.at_most, run_class.human


def _of_entry(entry: ClassEntry) -> _Said:
    return tuple(entry.faults), entry.at_most, entry.human
