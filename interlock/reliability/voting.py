"""IEC 61508-6:2010, Annex B: PFD and PFH of voted channels, from simplified formulas.

Formulas are from memory of the 2010 edition, which tells the mean repair time (MRT) of a failure
found by a proof test from the mean time to restoration (MTTR) of one found by diagnosis; the
1998 edition uses MTTR for both and has other PFH formulas. 1oo2D differs between the editions
and no published figure was at hand to check it against, so it is not carried.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from interlock.reliability.figures import check_fraction, check_positive, check_rate


@dataclass(frozen=True)
class VotedChannel:
    """The figures of each of some like channels.

    Attributes
    ----------
    rate_per_h : float
        Dangerous failure rate λD, greater than 0.
    dc : float
        Diagnostic coverage, 0..1.
    proof_test_h : float
        Proof-test interval T1.
    mttr_h, mrt_h : float
        Mean time to restoration; mean repair time.
    beta, beta_d : float
        Common-cause fractions of the undetected and of the detected failures, 0..1.
    """

    rate_per_h: float
    dc: float
    proof_test_h: float
    mttr_h: float = 8.0
    mrt_h: float = 8.0
    beta: float = 0.0
    beta_d: float = 0.0

    def __post_init__(self) -> None:
        check_positive("dangerous failure rate", self.rate_per_h)
        check_positive("proof-test interval", self.proof_test_h)
        check_rate("MTTR", self.mttr_h)
        check_rate("MRT", self.mrt_h)
        for name, value in (("DC", self.dc), ("beta", self.beta), ("beta_d", self.beta_d)):
            check_fraction(name, value)

    @property
    def undetected_per_h(self) -> float:
        """λDU."""
        return self.rate_per_h * (1 - self.dc)

    @property
    def detected_per_h(self) -> float:
        """λDD."""
        return self.rate_per_h * self.dc

    def down_h(self, parts: int) -> float:
        """Mean time that one, two or three failed channels stay down: for 2 tCE, 3 tGE, 4 tG2E.

        λDU/λD (T1/parts + MRT) + λDD/λD MTTR.
        """
        found_late = (1 - self.dc) * (self.proof_test_h / parts + self.mrt_h)
        return found_late + self.dc * self.mttr_h

    @property
    def independent_per_h(self) -> float:
        """(1−βD) λDD + (1−β) λDU."""
        return (1 - self.beta_d) * self.detected_per_h + (1 - self.beta) * self.undetected_per_h

    @property
    def common_pfd(self) -> float:
        """βD λDD MTTR + β λDU (T1/2 + MRT)."""
        undetected = self.beta * self.undetected_per_h * (self.proof_test_h / 2 + self.mrt_h)
        return self.beta_d * self.detected_per_h * self.mttr_h + undetected


def pfd_1oo1(channel: VotedChannel) -> float:
    """Average probability of failure on demand of one channel: λD tCE."""
    return channel.rate_per_h * channel.down_h(2)


def pfd_1oo2(channel: VotedChannel) -> float:
    """Of two channels, either of which is enough: 2 λi² tCE tGE and the common cause.

    λi is `independent_per_h`, the common cause `common_pfd`.
    """
    return _redundant_pfd(channel, 2)


def pfd_1oo3(channel: VotedChannel) -> float:
    """Of three channels, any of which is enough: 6 λi³ tCE tGE tG2E and the common cause."""
    down = channel.down_h(2) * channel.down_h(3) * channel.down_h(4)
    return 6 * channel.independent_per_h**3 * down + channel.common_pfd


def pfd_2oo2(channel: VotedChannel) -> float:
    """Of two channels that are both needed: 2 λD tCE."""
    return 2 * pfd_1oo1(channel)


def pfd_2oo3(channel: VotedChannel) -> float:
    """Of three channels, two of which are enough: 6 λi² tCE tGE and the common cause."""
    return _redundant_pfd(channel, 6)


def _redundant_pfd(channel: VotedChannel, orders: int) -> float:
    """`orders`: in how many orders two channels can fail so that the function is lost."""
    independent = channel.independent_per_h**2 * channel.down_h(2) * channel.down_h(3)
    return orders * independent + channel.common_pfd


def pfh_1oo1(channel: VotedChannel) -> float:
    """Average frequency of dangerous failure of one channel, per hour: λDU.

    Diagnosis is taken to lead to the safe state, in all PFH formulas here.
    """
    return channel.undetected_per_h


def pfh_1oo2(channel: VotedChannel) -> float:
    """Of two channels, either of which is enough: 2 λi (1−β) λDU tCE + β λDU, per hour."""
    return _redundant_pfh(channel, 2)


def pfh_1oo3(channel: VotedChannel) -> float:
    """Of three channels, any of which is enough: 6 λi² (1−β) λDU tCE tGE + β λDU, per hour."""
    last = (1 - channel.beta) * channel.undetected_per_h
    first_two = channel.independent_per_h**2 * channel.down_h(2) * channel.down_h(3)
    return 6 * first_two * last + channel.beta * channel.undetected_per_h


def pfh_2oo2(channel: VotedChannel) -> float:
    """Of two channels that are both needed: 2 λDU, per hour."""
    return 2 * channel.undetected_per_h


def pfh_2oo3(channel: VotedChannel) -> float:
    """Of three channels, two of which are enough: 6 λi (1−β) λDU tCE + β λDU, per hour."""
    return _redundant_pfh(channel, 6)


def _redundant_pfh(channel: VotedChannel, orders: int) -> float:
    last = (1 - channel.beta) * channel.undetected_per_h
    independent = channel.independent_per_h * last * channel.down_h(2)
    return orders * independent + channel.beta * channel.undetected_per_h


# By their name, the voted architectures: probability on demand, frequency per hour.
VOTINGS: Mapping[str, tuple[Callable[[VotedChannel], float], Callable[[VotedChannel], float]]] = {
    "1oo1": (pfd_1oo1, pfh_1oo1),
    "1oo2": (pfd_1oo2, pfh_1oo2),
    "1oo3": (pfd_1oo3, pfh_1oo3),
    "2oo2": (pfd_2oo2, pfh_2oo2),
    "2oo3": (pfd_2oo3, pfh_2oo3),
}
