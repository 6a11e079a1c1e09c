"""The values of one state by every name of the truth, looked up once while nothing happens."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager

from interlock.model.model import Formula, Model
from interlock.st.evaluate import evaluate_expression
from interlock.st.types import label_of


class Values(Mapping[str, int]):
    """Values by casefolded name; a term is computed when it is first asked for, and once.

    Parameters
    ----------
    direct : dict of str to int
        Of everything but the terms.
    terms : mapping of str to Formula
    """

    def __init__(self, direct: dict[str, int], terms: Mapping[str, Formula]) -> None:
        self._known = direct
        self._terms = terms

    def __getitem__(self, name: str) -> int:
        if name not in self._known:
            self._known[name] = evaluate_expression(self._terms[name].tree, self)
        return self._known[name]

    def __iter__(self) -> Iterator[str]:
        return iter({**self._known, **self._terms})

    def __len__(self) -> int:
        return len({**self._known, **self._terms})


class View:
    """The values of the state that something is in, whatever changes it.

    They are kept only as long as a caller says that nothing changes them: no way of changing a
    state has to know of it.

    Parameters
    ----------
    look : callable
        Gives the values that there are now.
    """

    def __init__(self, look: Callable[[], Values]) -> None:
        self._look = look
        self._seen: Values | None = None
        self._is_unchanged = False

    def now(self) -> Values:
        """The values of this moment; later ones do not change them."""
        if not self._is_unchanged:
            return self._look()
        if self._seen is None:
            self._seen = self._look()
        return self._seen

    @contextmanager
    def unchanged(self) -> Iterator[None]:
        """Look only once in here, where nothing happens."""
        self._is_unchanged = True
        try:
            yield
        finally:
            self._is_unchanged, self._seen = False, None


def labelled(model: Model, places: Mapping[str, int], outputs: Mapping[str, int]) -> dict[str, str]:
    """Machines, controls and outputs as labels, by name."""
    shown = {name: model.machines[name].states[value] for name, value in places.items()}
    types = model.output_types
    return shown | {name: label_of(types[name], value) for name, value in outputs.items()}
