"""What the figures say in words: the sentences themselves, and that none says more than its figures."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_house import forbidden

from cli.lots import telling
from cli.lots.clumping import clumping
from cli.lots.defect_levels import compared, handbook, levels_of
from cli.lots.detection import ALWAYS, Assumed, Detection, Measured
from cli.lots.per import Per
from cli.lots.pieces import Looked, pieces_with_insects, sample_table
from cli.lots.rates import Effort, grams, rate
from cli.lots.telling import (
    CLUMPED,
    NO_CLUMPS_SEEN,
    NO_FIT,
    NOT_NONE,
    SEEN_ALWAYS,
    TABLE_HEAD,
    TOO_LITTLE,
    clumping_lines,
    defect_level_line,
    defect_level_lines,
    figure,
    notice_line,
    percent,
    pieces_lines,
    rate_lines,
    table_rows,
    what_a_sample_tells,
)
from vision.words import NONE_FLAGGED, WHO_DECIDES

DETECTIONS = (ALWAYS, Assumed(0.5), Measured(8, 10), Measured(0, 10))


def everything_said() -> list[str]:
    """Every kind of sentence there is."""
    lines = [*TABLE_HEAD, *(line for value in vars(telling).values() if isinstance(value, str) for line in (value,))]
    for detection in DETECTIONS:
        for in_lot in (None, 100):
            lines += what_a_sample_tells(6, detection, in_lot)
            for found in (0, 2):
                lines += pieces_lines(pieces_with_insects(Looked(6, found, in_lot), detection))
        for count in (0, 5, (3, 9)):
            lines += rate_lines(rate(count, Effort(2, Per.SAMPLE), detection=detection))
            for level in handbook().levels:
                if level.per_hundred_grams is not None:
                    lines += defect_level_lines(compared(rate(count, grams(40), detection=detection), level))
    lines += map(defect_level_line, handbook().levels)
    for counts in (
        [0, 0, 12, 1, 0, 0, 7, 0],
        [0, 0, (12, 20), 1, 0, 0, 7, 0],
        [1, 2],
        [2] * 9,
        [0, 0, 0, 0, 0, 30],
        [(0, 9), 9, (0, 9), (0, 9)],
    ):
        lines += clumping_lines(clumping(counts))
    return lines


class TestAllSentences:
    def test_say_no_forbidden_word(self) -> None:
        assert [(line, forbidden(line)) for line in everything_said() if forbidden(line)] == []

    def test_are_whole_sentences(self) -> None:
        for line in everything_said():
            assert "None" not in line.replace("None found still", ""), line
            assert not {"nan", "inf", "{", "}", "  "} & {
                *line.split(),
                *(part for part in ("{", "}", "  ") if part in line),
            }, line

    def test_need_no_large_library(self) -> None:
        """So that a command that says one of them starts at once."""
        code = "import sys, cli.lots.telling; sys.exit(bool({'numpy', 'scipy', 'pandas', 'cv2'} & set(sys.modules)))"
        assert subprocess.run([sys.executable, "-c", code]).returncode == 0


class TestASample:
    def test_of_six_tells_what_is_quoted(self) -> None:
        first, kind, *rest = what_a_sample_tells(6)
        assert first == (
            "6 pieces from a well-mixed lot, none found, still allow up to 39% of the lot's pieces with insects "
            "if every insect is always seen, and 79% if half of them are."
        )
        assert kind == f"This is the one-sided 95% upper limit. {NOT_NONE}"
        assert rest == [
            "To notice that 1% of the pieces hold insects, in 95 of 100 such lots: look at 299 pieces.",
            "To notice that 5% of the pieces hold insects, in 95 of 100 such lots: look at 59 pieces.",
            "To notice that 10% of the pieces hold insects, in 95 of 100 such lots: look at 29 pieces.",
            WHO_DECIDES,
        ]

    def test_with_a_trial_names_the_trial(self) -> None:
        first, trial, *_ = what_a_sample_tells(6, Measured(8, 10))
        assert first.endswith("still allow up to 80% of the lot's pieces with insects.")
        assert trial.startswith(
            "8 of 10 insects put in were seen. The upper limit reckons with 49%, the one-sided 95% lower limit of that"
        )

    def test_of_a_known_lot_is_told_in_pieces(self) -> None:
        assert "up to 38 of the lot's 100 pieces with insects" in what_a_sample_tells(6, in_lot=100)[0]
        assert notice_line(0.05, in_lot=100).endswith("look at 45 pieces.")
        assert notice_line(0.01, Assumed(0.5), 100).endswith("no number of pieces will do.")

    def test_of_one_piece_is_in_the_singular(self) -> None:
        assert what_a_sample_tells(1)[0].startswith("1 piece from a well-mixed lot, none found, still allows up to 95%")

    def test_table(self) -> None:
        assert [cells[0] for cells in table_rows(sample_table())] == ["3", "6", "10", "20", "30", "60"]
        shares = [cells[1].removesuffix(" of the lot's pieces") for cells in table_rows(sample_table())]
        assert shares == ["63%", "39%", "26%", "14%", "9.5%", "4.9%"]
        assert table_rows(sample_table(in_lot=10))[0] == ("3", "5 of the lot's 10 pieces")


class TestACount:
    def test_of_none_is_no_finding_of_none(self) -> None:
        assert rate_lines(rate(0, Effort(6))) == (
            "0 counted in 6 pieces. That is not a finding of none.",
            "There may be up to 0.499 per piece, the one-sided 95% upper limit.",
            SEEN_ALWAYS,
        )
        assert NOT_NONE in NONE_FLAGGED

    def test_of_some_has_two_sided_limits(self) -> None:
        assert rate_lines(rate(7, Effort(1, Per.SAMPLE), level=0.9))[:2] == (
            "7 counted in 1 sample: 7.00 per sample.",
            "Two-sided 90% limits per sample: 3.29 to 13.1.",
        )

    def test_of_a_range_says_whose_limit_is_whose(self) -> None:
        lines = rate_lines(rate((3, 7), grams(250)))
        assert lines[0] == "3 to 7 counted in 250 g: 1.20 to 2.80 per 100 g."
        assert lines[1].endswith("0.247 to 5.77. The lower limit is the least count's, the upper one the most count's.")

    def test_by_somebody_who_saw_none_of_those_put_in_has_no_upper_limit(self) -> None:
        blind = Measured(0, 10)
        assert rate_lines(rate(0, Effort(6), detection=blind))[1:] == (
            "There is no upper limit to what may be there.",
            "0 of 10 insects put in were seen: that says nothing of what is there.",
        )
        assert rate_lines(rate(5, Effort(5), detection=blind))[1].endswith("0.325 and more, without an upper one.")

    def test_with_an_entered_share_says_that_it_was_entered(self) -> None:
        assert rate_lines(rate(0, Effort(6), detection=Assumed(0.5)))[2].endswith(
            "50% of insects are seen, as entered and not measured."
        )


class TestPieces:
    def test_none_found(self) -> None:
        assert pieces_lines(pieces_with_insects(Looked(6)))[:2] == (
            "0 of 6 pieces found to hold insects. That is not a finding of none.",
            "Up to 39% of the lot's pieces may hold insects, the one-sided 95% upper limit.",
        )

    def test_some_found(self) -> None:
        assert pieces_lines(pieces_with_insects(Looked(6, 2)))[:2] == (
            "2 of 6 pieces found to hold insects.",
            "4.3% to 78% of the lot's pieces may hold insects, the two-sided 95% limits.",
        )
        assert pieces_lines(pieces_with_insects(Looked(6, 2, 100)))[1].startswith("5 to 76 of the lot's 100 pieces")


class TestClumps:
    def test_are_told_with_both_limits(self) -> None:
        first, spread, limits = clumping_lines(clumping([0, 0, 12, 1, 0, 0, 7, 0, 0, 0]))
        assert first == CLUMPED == "Insects sit in clumps here: the Poisson limits are too narrow."
        assert spread == (
            "20 insects on 10 pieces: mean 2.00, variance 17.1, ratio 8.56. By chance fewer than 1 of 1000 samples are so uneven."
        )
        assert limits.startswith(
            "Two-sided 95% limits per piece: by Poisson 1.22 to 3.09, by the negative binomial 0.379 to 57"
        )
        assert limits.endswith(SEEN_ALWAYS)

    def test_of_ranges_are_told_at_both_ends(self) -> None:
        lines = clumping_lines(clumping([0, 0, (12, 20), 1, 0, 0, 7, 0, 0, 0]))
        assert lines[1].startswith("With the least counted: 20 insects")
        assert lines[2].startswith("With the most counted: 28 insects")

    def test_where_one_end_holds_none_it_says_nothing_of_it(self) -> None:
        lines = clumping_lines(clumping([(0, 12), 0, 0, 0, 0, 0]))
        assert lines[1] == "With the least counted: 0 insects on 6 pieces."
        assert lines[3] == NO_FIT

    def test_a_chance_is_told_as_one_of_so_many(self) -> None:
        assert "By chance about 1 of 36 samples" in clumping_lines(clumping([3, 0, 0, 0, 0, 0]))[1]

    def test_not_seen_are_not_said_to_be_none(self) -> None:
        assert clumping_lines(clumping([2] * 9)) == (NO_CLUMPS_SEEN,)
        assert clumping_lines(clumping([1, 2])) == (TOO_LITTLE,)
        assert "not a finding that there are none" in NO_CLUMPS_SEEN


class TestDefectLevels:
    def test_are_told_with_what_they_are_not(self) -> None:
        lines = defect_level_lines(compared(rate(7, grams(250)), levels_of("broccoli")[0]))
        assert lines[3:] == (
            "FDA may act on broccoli (frozen) where the average is 60 or more aphids, thrips and mites together in 100 g (AOAC 945.82).",
            "Both limits of this count lie below that level.",
            "The level is from FDA Food Defect Levels Handbook, page of 2018-09-07, read in a public copy made in June 2023, "
            "not at the source. It is for processed food. Such a level binds no religious authority, and to lie below it is no clearance.",
        )

    def test_by_lengths_and_beyond_a_number(self) -> None:
        by_lengths = [defect_level_line(each) for each in handbook().levels if each.added_up_mm]
        assert [line.split("average is ")[1] for line in by_lengths] == [
            "2 or more larvae and their fragments of 3 mm or more, more than 12 mm in all, in 10886 g (AOAC 974.33).",
            "whole insects or as many parts of 3 mm or more, 7 mm or more in all, in 100 g (MPM V-93).",
        ]
        assert "on hops where the average is more than 2500 aphids in 10 g" in defect_level_line(levels_of("hops")[0])


class TestFigures:
    @pytest.mark.parametrize(
        ("value", "shown"),
        [
            (0, "0"),
            (0.00123, "0.00123"),
            (0.4993, "0.499"),
            (0.9996, "1.00"),
            (9.996, "10.0"),
            (12.34, "12.3"),
            (99.96, "100"),
            (999.6, "1,000"),
            (1234.5, "1,234"),
            (12_345_678, "12,345,678"),
        ],
    )
    def test_have_three_digits(self, value: float, shown: str) -> None:
        assert figure(value) == shown

    @pytest.mark.parametrize(
        ("share", "shown"),
        [
            (0, "0%"),
            (0.00123, "0.12%"),
            (0.0949, "9.5%"),
            (0.0996, "10%"),
            (0.393, "39%"),
            (0.9949, "99%"),
            (0.9951, "99.5%"),
            (0.99999, "99.9%"),
            (1, "100%"),
        ],
    )
    def test_shares_have_two(self, share: float, shown: str) -> None:
        assert percent(share) == shown

    @settings(deadline=None)
    @given(st.floats(1e-6, 1e6))
    def test_are_off_by_half_a_last_digit_at_most(self, value: float) -> None:
        assert float(figure(value).replace(",", "")) == pytest.approx(value, rel=0.0051)

    @settings(deadline=None)
    @given(st.integers(1, 300), st.sampled_from(DETECTIONS))
    def test_only_all_is_told_as_all(self, pieces: int, detection: Detection) -> None:
        limit = pieces_with_insects(Looked(pieces), detection).limits.high
        assert (percent(limit) == "100%") == math.isclose(limit, 1)
