"""How often an insect that is there is seen: entered by a person, or measured on insects that were put in by hand.

What was not seen was not counted, so every upper limit is divided by this share. A measured share is itself known only within limits, and
its point would lend the upper limit more than was measured: 8 seen of 10 could be 49 in 100. So the one-sided lower limit is used, at the
level of the upper limit that it divides. Both being off together is rarer than either alone, and the quotient keeps its level: of all
samples of 1 to 300 pieces and trials of 1 to 300 insects that were tried, it held the true share in 95.2 of 100 or more at 95 %. Lower
limits are never raised by it: what was found was there.

A share that was entered is used as it stands, and whatever is said with it holds only if it is right.

The share is of insects, one by one. A piece with several is noticed at least as often as a piece with one, so for pieces it is careful,
as long as those put in are no easier to see than those that come with the produce.
"""

from __future__ import annotations

from dataclasses import dataclass

from cli.lots.intervals import LEVEL, Between, share_at_least, share_limits


@dataclass(frozen=True)
class Assumed:
    """A share above 0 and up to 1 that somebody entered. Raises ValueError for another."""

    share: float

    def __post_init__(self) -> None:
        if not 0 < self.share <= 1:
            raise ValueError("the share of insects that are seen lies above 0 and goes up to 1")

    def counted_on(self, level: float = LEVEL) -> float:
        """What upper limits are divided by: the share itself, whatever the level."""
        return self.share


@dataclass(frozen=True)
class Measured:
    """So many seen of so many insects put in by hand (at least one), by somebody who did not know where. Raises ValueError for others."""

    seen: int
    put_in: int

    def __post_init__(self) -> None:
        if not 0 <= self.seen <= self.put_in or self.put_in < 1:
            raise ValueError("of one or more insects put in, none to all are seen")

    @property
    def share(self) -> float:
        """The share seen, 0..1."""
        return self.seen / self.put_in

    def limits(self, level: float = LEVEL) -> Between:
        """Exact two-sided limits of the share seen, 0..1."""
        return share_limits(self.seen, self.put_in, level)

    def counted_on(self, level: float = LEVEL) -> float:
        """What upper limits of that level are divided by, 0..1: the one-sided lower limit. 0 where none was seen."""
        return share_at_least(self.seen, self.put_in, level).low


Detection = Assumed | Measured

ALWAYS = Assumed(1.0)
"""Every insect that is there is seen. No way of looking does that; it is what limits without a word on it take for granted."""
