"""What a number of animals is given for: one list for counts and for the numbers of a rule."""

from __future__ import annotations

from enum import StrEnum


class Per(StrEnum):
    """One piece, one sample, 100 g, or all that one check of the lot looked at."""

    PIECE = "piece"
    SAMPLE = "sample"
    HUNDRED_GRAMS = "100 g"
    LOT = "whole lot"
