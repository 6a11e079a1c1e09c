"""The values of one state by every name of the truth."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from interlock.model.model import Formula
from interlock.st.evaluate import evaluate_expression


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
