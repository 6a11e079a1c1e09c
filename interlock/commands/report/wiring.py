"""What electrical design gave, given back: the list of signals, and its matrix as judged."""

from __future__ import annotations

from typing import Any

from interlock.commands.report.dossier import Dossier
from interlock.commands.report.findings_in_words import verdict
from interlock.judgement.effect_cells import JudgedMatrix, judged_matrix
from interlock.judgement.finding import Finding
from interlock.pictures import effect_matrix, signal_list
from interlock.sheets.write_xlsx import to_xlsx

SIGNALS = f"{signal_list.NAME}.xlsx"
MATRIX = f"{effect_matrix.NAME}.xlsx"


def workbooks(dossier: Dossier) -> dict[str, bytes]:
    """The workbooks beside a report, by name."""
    found = {SIGNALS: to_xlsx([signal_list.signal_sheet(dossier.model)])}
    judged = judged_matrix(dossier.verification)
    if judged is not None:
        acts = effect_matrix.acting_beside(judged, dossier.model, dossier.maps.influence)
        found[MATRIX] = to_xlsx(effect_matrix.sheets_of(judged, acts))
    return found


def demands_view(dossier: Dossier) -> dict[str, Any]:
    """The model's own matrix of causes and effects, judged; empty where it names none."""
    judged = judged_matrix(dossier.verification)
    if judged is None:
        return {}
    matrix = judged.matrix
    acts = effect_matrix.acting_beside(judged, dossier.model, dossier.maps.influence)
    return {
        "file": matrix.file.replace("\\", "/").rsplit("/", 1)[-1],
        "summary": effect_matrix.summary(judged),
        "legend": [(letter, meaning.says) for letter, meaning in matrix.legend.items()],
        "acts": effect_matrix.ACTS_SAYS if acts else "",
        "looked_beside": dossier.maps.influence is not None,
        "effects": matrix.effects,
        "rows": [
            {
                "cause": cause,
                "cells": [
                    {
                        "sign": matrix.cells.get((r, c)),
                        "found": None if found is None else verdict(dossier, found),
                        "acts": effect_matrix.ACTS if (r, c) in acts else "",
                    }
                    for c, found in enumerate(_row(judged, r))
                ],
            }
            for r, cause in enumerate(matrix.causes)
        ],
    }


def _row(judged: JudgedMatrix, row: int) -> list[Finding | None]:
    columns = range(len(judged.matrix.effects))
    return [judged.findings.get((row, column)) for column in columns]
