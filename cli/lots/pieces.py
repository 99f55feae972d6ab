"""What share of a lot's pieces holds insects, from how many of those looked at were found to: before looking and after.

The pieces are taken from a well-mixed lot, or from all over it, each as likely as any other. Of n pieces none is found with chance
(1 - p d)^n where a share p of the lot holds insects and each such piece is noticed with chance d. So none found among six still allows
39 % at 95 % where d is 1, and 79 % where it is a half.

Several insects on one piece change nothing here. Pieces with insects lying side by side do, where a sample is taken from one place.

Where it is known how many pieces the lot has, those looked at are a part of it and the limits are closer (hypergeometric).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from cli.lots.detection import ALWAYS, Detection
from cli.lots.intervals import LEVEL, AtMost, Between, left_over, share_at_most, share_limits
from cli.lots.tails import drawn_at_most, last_whole

_ROUNDING = 1e-9
"""How far a chance that equals what is left over may be off it: 5 of 100 is 0.05 and a few digits at the end."""

SIZES = (3, 6, 10, 20, 30, 60)
"""How many pieces a table of what samples tell goes through."""


@dataclass(frozen=True)
class Looked:
    """So many pieces looked at, insects found in so many of them, and how many the lot has, where known. Raises ValueError for others."""

    pieces: int
    found: int = 0
    in_lot: int | None = None

    def __post_init__(self) -> None:
        if self.pieces < 1 or not 0 <= self.found <= self.pieces:
            raise ValueError("of one or more pieces looked at, none to all are found to hold insects")
        if self.in_lot is not None and self.in_lot < self.pieces:
            raise ValueError("a lot has at least as many pieces as were looked at")


@dataclass(frozen=True)
class PiecesWithInsects:
    """What share 0..1 of a lot's pieces holds insects."""

    looked: Looked
    detection: Detection
    limits: Between | AtMost
    """One-sided where none was found, two-sided otherwise. Only the upper limit allows for what is not seen."""


def pieces_limits(looked: Looked, detection: Detection = ALWAYS, level: float = LEVEL) -> Between:
    """Two-sided limits of the share 0..1 of a lot's pieces that holds insects. Raises ValueError for what is no level."""
    left = left_over(level) / 2
    return Between(_share_from(looked, level, left), _share_up_to(looked, detection, (1 + level) / 2), level)


def pieces_at_most(looked: Looked, detection: Detection = ALWAYS, level: float = LEVEL) -> AtMost:
    """One-sided upper limit of the share 0..1 of a lot's pieces that holds insects. Raises ValueError for what is no level."""
    left_over(level)
    return AtMost(_share_up_to(looked, detection, level), level)


def pieces_with_insects(looked: Looked, detection: Detection = ALWAYS, level: float = LEVEL) -> PiecesWithInsects:
    """The share as a record prints it: one-sided where none was found, two-sided otherwise. Errors as in `pieces_limits`.

    To choose by what was found costs a little: at 95 % the limits so chosen hold the true share in at least 92 of 100 lots.
    """
    limits = (pieces_limits if looked.found else pieces_at_most)(looked, detection, level)
    return PiecesWithInsects(looked, detection, limits)


def sample_table(
    detection: Detection = ALWAYS, in_lot: int | None = None, level: float = LEVEL, sizes: tuple[int, ...] = SIZES
) -> tuple[PiecesWithInsects, ...]:
    """For samples of several sizes, the share that would be noticed with chance `level`: what none found still allows.

    Samples that are larger than the lot are left out. Raises ValueError for what is no level, and for a sample of less than one piece.
    """
    return tuple(
        pieces_with_insects(Looked(pieces, 0, in_lot), detection, level)
        for pieces in sizes
        if in_lot is None or pieces <= in_lot
    )


def pieces_to_notice(
    share: float, detection: Detection = ALWAYS, level: float = LEVEL, in_lot: int | None = None
) -> int | None:
    """How many pieces to look at so that, where a share above 0 and up to 1 holds insects, one is found with chance `level`.

    None where no number of them will do: as none of what was put in was seen, or as even the whole lot holds too few to be seen so surely.
    Of a lot of known size the share is taken as whole pieces, one at least. Raises ValueError for what is no share, level or lot.
    """
    left = left_over(level) * (1 + _ROUNDING)
    if not 0 < share <= 1:
        raise ValueError("the share of pieces to be noticed lies above 0 and goes up to 1")
    seen = detection.counted_on(level)
    if in_lot is not None:
        return _of_lot(share, seen, left, in_lot)
    if seen <= 0:
        return None
    return 1 if share * seen >= level else _up(math.log(left) / math.log1p(-share * seen))


def _of_lot(share: float, seen: float, left: float, in_lot: int) -> int | None:
    if in_lot < 1:
        raise ValueError("a lot has at least one piece")
    with_insects = _up(share * in_lot)
    missing = last_whole(lambda pieces: drawn_at_most(0, pieces, with_insects, in_lot, seen) > left, 0, in_lot)
    return None if missing == in_lot else missing + 1


def _share_up_to(looked: Looked, detection: Detection, level: float) -> float:
    seen = detection.counted_on(level)
    if looked.in_lot is None:
        noticed = share_at_most(looked.found, looked.pieces, level).high
        return min(1.0, noticed / seen) if seen > 0 else 1.0
    lot, left = looked.in_lot, (1 - level) * (1 + _ROUNDING)

    def allowed(with_insects: int) -> bool:
        return drawn_at_most(looked.found, looked.pieces, with_insects, lot, seen) > left

    return last_whole(allowed, looked.found, lot) / lot


def _share_from(looked: Looked, level: float, left: float) -> float:
    if looked.in_lot is None:
        return share_limits(looked.found, looked.pieces, level).low
    lot, most = looked.in_lot, looked.in_lot - looked.pieces + looked.found

    def too_few(with_insects: int) -> bool:
        return 1 - drawn_at_most(looked.found - 1, looked.pieces, with_insects, lot) <= left * (1 + _ROUNDING)

    return (last_whole(too_few, looked.found - 1, most) + 1) / lot if looked.found else 0.0


def _up(number: float) -> int:
    """The next whole number, where rounding in the last digits is none."""
    return max(1, math.ceil(number * (1 - 1e-12)))
