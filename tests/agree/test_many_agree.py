"""A few of the random models of `tests.agree.many`; many by hand."""

from __future__ import annotations

import pytest

from tests.agree.many import run_many


@pytest.mark.slow
def test_engines_interpreter_and_machines_agree_on_random_models() -> None:
    counts = run_many(80, 20261125)
    # Hypothesis may draw a model twice and compare it once.
    assert counts["models with faults"] > 32
    assert counts["models"] > 64
    assert min(counts["verdicts 'holds'"], counts["verdicts 'violated'"]) > 40


def test_engines_interpreter_and_machines_agree_on_some_random_models() -> None:
    assert run_many(20, 1)["models"] > 10
