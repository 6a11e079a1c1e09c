import itertools

import pytest

from interlock.reliability.integrity_level import (
    SIL_RISK,
    required_sil,
    sil_band,
    sil_band_on_demand,
)


def test_a_graver_risk_never_asks_for_less() -> None:
    corners = list(itertools.product(*SIL_RISK.values()))
    for one in corners:
        for place, values in enumerate(SIL_RISK.values()):
            for value in values:
                if value > one[place]:
                    graver = (*one[:place], value, *one[place + 1 :])
                    assert (required_sil(*graver) or 0) >= (required_sil(*one) or 0)


@pytest.mark.parametrize("wrong", [(5, 1, 1, 1), (0, 1, 1, 1), (1, 6, 1, 1), (1, 1, 0, 1)])
def test_the_assignment_refuses_parameters_it_does_not_have(
    wrong: tuple[int, int, int, int],
) -> None:
    with pytest.raises(ValueError, match="not in the assignment"):
        required_sil(*wrong)


def test_avoidance_is_1_3_or_5() -> None:
    with pytest.raises(ValueError, match="Av2 is not in the assignment"):
        required_sil(1, 1, 1, 2)


def test_nothing_is_told_above_sil_3() -> None:
    assert sil_band(1e-12) == sil_band(0) == sil_band_on_demand(1e-9) == 3


@pytest.mark.parametrize("figure", [-1e-8, float("nan"), float("inf")])
def test_a_figure_that_is_no_rate_is_refused(figure: float) -> None:
    with pytest.raises(ValueError, match="failure measure"):
        sil_band(figure)
