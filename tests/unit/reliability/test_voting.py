from dataclasses import replace

import pytest

from interlock.reliability.voting import (
    VOTINGS,
    VotedChannel,
    pfd_1oo1,
    pfd_1oo2,
    pfd_1oo3,
    pfd_2oo2,
    pfd_2oo3,
    pfh_1oo1,
    pfh_1oo2,
    pfh_1oo3,
    pfh_2oo2,
    pfh_2oo3,
)

CHANNEL = VotedChannel(2.5e-6, dc=0.6, proof_test_h=8760, beta=0.1, beta_d=0.05)


def test_with_nothing_but_common_cause_redundancy_gains_nothing() -> None:
    shared = replace(CHANNEL, beta=1, beta_d=1)
    assert pfd_1oo2(shared) == pytest.approx(pfd_1oo1(shared), rel=1e-9, abs=0)
    assert pfd_1oo3(shared) == pytest.approx(pfd_1oo1(shared), rel=1e-9, abs=0)
    assert pfh_1oo3(shared) == pytest.approx(pfh_1oo1(shared), rel=1e-9, abs=0)
    assert pfd_2oo3(shared) == pytest.approx(pfd_1oo1(shared), rel=1e-9, abs=0)
    assert pfh_1oo2(shared) == pytest.approx(pfh_1oo1(shared), rel=1e-9, abs=0)


def test_without_common_cause_two_of_three_is_three_pairs() -> None:
    apart = replace(CHANNEL, beta=0, beta_d=0)
    assert pfd_2oo3(apart) == pytest.approx(3 * pfd_1oo2(apart), rel=1e-9, abs=0)
    assert pfh_2oo3(apart) == pytest.approx(3 * pfh_1oo2(apart), rel=1e-9, abs=0)


def test_two_channels_that_are_both_needed_fail_twice_as_often() -> None:
    assert pfd_2oo2(CHANNEL) == 2 * pfd_1oo1(CHANNEL)
    assert pfh_2oo2(CHANNEL) == 2 * pfh_1oo1(CHANNEL)


def test_undiagnosed_pairs_follow_the_textbook_limits() -> None:
    # With DC 0, no repair time and no common cause: PFD (λT)²/3, PFH λ²T (F).
    bare = VotedChannel(1e-6, 0, 8760, mttr_h=0, mrt_h=0)
    assert pfd_1oo2(bare) == pytest.approx((1e-6 * 8760) ** 2 / 3, rel=1e-9, abs=0)
    assert pfh_1oo2(bare) == pytest.approx(1e-12 * 8760, rel=1e-9, abs=0)
    assert pfd_1oo1(bare) == pytest.approx(1e-6 * 8760 / 2)


def test_undiagnosed_triples_follow_the_textbook_limits() -> None:
    # With DC 0, no repair time and no common cause: PFD is the mean of (λt)³, (λT)³/4; PFH is
    # (λT)³/T (F).
    bare = VotedChannel(1e-6, 0, 8760, mttr_h=0, mrt_h=0)
    assert pfd_1oo3(bare) == pytest.approx((1e-6 * 8760) ** 3 / 4, rel=1e-9, abs=0)
    assert pfh_1oo3(bare) == pytest.approx(1e-18 * 8760**2, rel=1e-9, abs=0)


def test_a_share_of_common_failures_comes_off_the_independent_ones() -> None:
    # As above with a common fraction β: 1oo2 ((1−β)λ)²T + βλ, 2oo3 three such pairs, 1oo3
    # ((1−β)λ)³T² + βλ (F).
    bare = VotedChannel(1e-6, 0, 8760, mttr_h=0, mrt_h=0, beta=0.2)
    pair, triple = (0.8e-6) ** 2 * 8760, (0.8e-6) ** 3 * 8760**2
    assert pfh_1oo2(bare) == pytest.approx(pair + 0.2e-6, rel=1e-12, abs=0)
    assert pfh_2oo3(bare) == pytest.approx(3 * pair + 0.2e-6, rel=1e-12, abs=0)
    assert pfh_1oo3(bare) - 0.2e-6 == pytest.approx(triple, rel=1e-6, abs=0)


def test_repair_takes_eight_hours_and_nothing_is_common_unless_it_is_said() -> None:
    # The tables of IEC 61508-6, Annex B, are for eight hours.
    channel = VotedChannel(1e-6, 0.6, 8760)
    assert (channel.mttr_h, channel.mrt_h, channel.beta, channel.beta_d) == (8, 8, 0, 0)


def test_a_third_channel_helps_but_not_against_the_common_cause() -> None:
    for two, three in ((pfd_1oo2, pfd_1oo3), (pfh_1oo2, pfh_1oo3)):
        assert three(CHANNEL) < two(CHANNEL)
    assert pfd_1oo3(CHANNEL) > CHANNEL.common_pfd


def test_each_voting_has_its_formulas_under_its_name() -> None:
    for name, (pfd, pfh) in VOTINGS.items():
        assert (pfd.__name__, pfh.__name__) == (f"pfd_{name}", f"pfh_{name}")


def test_restoration_counts_for_detected_and_repair_for_undetected_failures() -> None:
    assert replace(CHANNEL, dc=1, mttr_h=24).down_h(2) == pytest.approx(24)
    assert replace(CHANNEL, dc=0, mttr_h=24, mrt_h=10).down_h(3) == pytest.approx(2930)


@pytest.mark.parametrize(
    "wrong",
    [
        {"rate_per_h": 0},
        {"dc": 1.1},
        {"proof_test_h": 0},
        {"mrt_h": -1},
        {"mttr_h": -1},
        {"beta_d": 2},
    ],
)
def test_figures_out_of_range_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="expected"):
        replace(CHANNEL, **wrong)
