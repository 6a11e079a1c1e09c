"""The values of one state by every name that a picture may ask for."""

from __future__ import annotations

from collections.abc import Mapping

from interlock.independent_judge.values import Values
from interlock.model.model import Model
from interlock.model.names import type_of
from interlock.st.types import Type, number_of

Value = int | str
"""The number of a state or of a value, or its label: ``2`` or ``"UP"``, ``1`` or ``"TRUE"``."""


def types_of(model: Model) -> dict[str, Type]:
    """The type of each machine, control and output, by its declared name, in this order."""
    types = {name: type_of(machine) for name, machine in model.machines.items()}
    return types | {name: model.output_types[name] for name in model.outputs}


class Reader:
    """Makes the `Values` of each of many states of a model."""

    def __init__(self, model: Model) -> None:
        self._types = {name.casefold(): type_ for name, type_ in types_of(model).items()}
        self._faults = [id_.casefold() for id_ in model.faults]
        self._terms = {name.casefold(): formula for name, formula in model.terms.items()}

    def read(self, values: Mapping[str, Value]) -> Values:
        """The truth of a state.

        Parameters
        ----------
        values : mapping of str to Value
            By name, in any case: of every machine, control and output. A fault that is not given
            has not struck. Terms are computed, and names of no use here are passed over.

        Raises
        ------
        KeyError
            Where a machine, a control or an output has no value, or one that it cannot have.
        """
        spelled = {name.casefold(): name for name in values}
        found: dict[str, int] = {}
        for name, type_ in self._types.items():
            value = values[spelled[name]]
            number = number_of(type_, value) if isinstance(value, str) else value
            if number is None:
                raise KeyError(f"{name} is never {value}")
            found[name] = number
        for id_ in self._faults:
            found[id_] = int(id_ in spelled and values[spelled[id_]] in (1, "TRUE"))
        return Values(found, self._terms)
