"""A matrix of causes and effects held against what the program does, cell by cell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from interlock.judgement.finding import Finding, Verification
from interlock.kernel.requirement import Outcome
from interlock.model.effect_matrix import EffectMatrix

NOT_ASKED = "not asked"


@dataclass(frozen=True)
class JudgedMatrix:
    """A matrix with what became of each of its signs.

    Attributes
    ----------
    matrix : EffectMatrix
    findings : mapping of (int, int) to Finding
        By the numbers of cause and effect; what was not asked for is left out.
    """

    matrix: EffectMatrix
    findings: Mapping[tuple[int, int], Finding]

    def outcome(self, row: int, column: int) -> Outcome | None:
        """What became of a sign; None for an empty cell and for what was not asked for."""
        found = self.findings.get((row, column))
        return None if found is None else found.outcome

    def says(self, row: int, column: int) -> str:
        """The same in words; empty for an empty cell."""
        if (row, column) not in self.matrix.cells:
            return ""
        found = self.findings.get((row, column))
        return NOT_ASKED if found is None else found.says

    @property
    def counts(self) -> dict[str, int]:
        """How many signs there are of each outcome, those that are not asked for last."""
        found = {outcome.value: 0 for outcome in Outcome}
        found[NOT_ASKED] = 0
        for cell in self.matrix.cells:
            outcome = self.outcome(*cell)
            found[NOT_ASKED if outcome is None else outcome.value] += 1
        return {word: n for word, n in found.items() if n}


def judged_matrix(verification: Verification) -> JudgedMatrix | None:
    """The matrix of a model that was verified, where it names one."""
    matrix = verification.built.model.matrix
    if matrix is None:
        return None
    by_id = {finding.requirement.id: finding for finding in verification.findings}
    return JudgedMatrix(
        matrix,
        {
            cell: by_id[sign.requirement]
            for cell, sign in matrix.cells.items()
            if sign.requirement in by_id
        },
    )
