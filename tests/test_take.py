"""Tables that went through a spreadsheet: what is understood, what is refused, and the sentence that says what to do."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_shelf import (
    ADDED_IDS,
    FIRST,
    RUN,
    SECOND,
    filled,
    only_refusal,
    rows_given,
    speck,
    table_of,
    take_bytes,
    take_rows,
)

from cli.review.answers import FIRST_ADDED, Answer, Ring
from cli.review.cells import hash_in, number_in, whole_in
from vision.errors import TableError
from vision.names import INSECTS

INSECT: dict[str, Any] = {"answer": "insect", "kind": "aphid", "body": "whole", "basis": "loupe"}


class TestWhatIsTaken:
    def test_an_answer_with_all_its_cells(self) -> None:
        cells = {**INSECT, "note": "on a stem", "reviewer": "Jon", "unaided": "no"}
        taken = take_rows(filled(cells))
        (answer,) = taken.answers
        assert replace(answer, token="") == Answer(
            speck(1),
            "insect",
            "Jon",
            kind="aphid",
            body="whole",
            basis="loupe",
            unaided="no",
            note="on a stem",
            source="table",
        )
        assert (taken.refused, taken.notices, taken.unanswered) == ((), (), 6)

    def test_a_colony_with_count_and_ring(self) -> None:
        ring = {"ring_x_px": "300.5", "ring_y_px": "200,5", "ring_radius_px": "40"}
        (answer,) = take_rows(
            filled({**INSECT, "body": "colony", "count_least": "30,0", "count_most": "1 500", **ring})
        ).answers
        assert (answer.least, answer.most, answer.ring) == (30, 1500, Ring(300.5, 200.5, 40.0))

    def test_a_name_given_with_the_table_counts_where_the_row_has_none(self) -> None:
        taken = take_rows(filled(INSECT, {"answer": "look_again", "reviewer": " Jon "}), reviewer=" Ida ")
        assert [answer.reviewer for answer in taken.answers] == ["Ida", "Jon"]

    @pytest.mark.parametrize(
        "word", ["not_insect", "Not insect", " NOT-INSECT ", "not‑insect", "not\u00a0insect", "'not_insect"]
    )
    def test_words_as_people_write_them(self, word: str) -> None:
        assert [answer.answer for answer in take_rows(filled({"answer": word})).answers] == ["not_insect"]

    def test_body_and_basis_as_people_write_them(self) -> None:
        (answer,) = take_rows(
            filled({**INSECT, "body": "Part with head", "basis": "In hand", "unaided": "Not tried"})
        ).answers
        assert (answer.body, answer.basis, answer.unaided) == ("part_with_head", "in_hand", "not_tried")

    @pytest.mark.parametrize(
        ("cell", "kind"), [(" APHID ", "aphid"), ("Thrips tabaci", "Thrips tabaci"), ("'=odd", "=odd")]
    )
    def test_a_kind_with_a_name_here_is_written_one_way(self, cell: str, kind: str) -> None:
        assert [answer.kind for answer in take_rows(filled({**INSECT, "kind": cell})).answers] == [kind]
        assert "aphid" in INSECTS

    def test_a_speck_that_a_person_added(self) -> None:
        rows = [row for row in rows_given() if row["candidate"] == str(FIRST_ADDED) and row["shot_sha256"] == FIRST]
        rows[0]["answer"] = "insect"
        assert [answer.speck for answer in take_rows(rows).answers] == [ADDED_IDS[0]]

    def test_empty_rows_are_unanswered_and_flags_without_a_row_are_told_of(self) -> None:
        taken = take_rows(filled(INSECT)[:2])
        assert len(taken.answers) == taken.unanswered == 1
        assert taken.notices == (
            "3 flags of this run have no row in this table that could be read: nothing changes for them.",
        )
        assert take_rows(filled(INSECT)[:5]).notices[0].startswith("1 flag of this run has no row")

    def test_the_same_row_twice_is_taken_once(self) -> None:
        rows = filled(INSECT)
        taken = take_rows([*rows, rows[0]])
        assert len(taken.answers) == 1
        assert taken.notices == ("Rows 2 and 9 say the same about the same speck: taken once.",)

    def test_an_empty_row_of_an_answered_speck_is_not_unanswered(self) -> None:
        assert take_rows([*filled(INSECT), rows_given()[0]]).unanswered == 6


class TestTokens:
    def test_the_same_table_gives_the_same_answers(self) -> None:
        rows = filled(INSECT, {"answer": "look_again"})
        one, other = take_rows(rows), take_rows(rows)
        assert one == other
        assert all(len(answer.token) <= 80 and answer.token.startswith("table-") for answer in one.answers)
        assert len({answer.token for answer in one.answers}) == 2

    @pytest.mark.parametrize(
        "other",
        [
            {"kind": "mite"},
            {"body": "skin"},
            {"basis": "in_hand"},
            {"unaided": "no"},
            {"note": "x"},
            {"reviewer": "Jon"},
        ],
    )
    def test_another_word_is_another_act(self, other: dict[str, str]) -> None:
        one, two = (take_rows(filled(cells)).answers[0] for cells in (INSECT, {**INSECT, **other}))
        assert one.token != two.token

    def test_what_a_spreadsheet_does_to_the_file_changes_none(self) -> None:
        rows = filled(INSECT)
        text = table_of([{**row, "candidate": row["candidate"] + ",0"} for row in rows], ";", "\n")
        assert take_bytes(text.encode("utf-16")).answers == take_rows(rows).answers


class TestRowsThatAreRefused:
    @pytest.mark.parametrize(
        ("cells", "says"),
        [
            ({"answer": "Insekt"}, "answer holds “Insekt”, .* Write insect, not_insect or look_again"),
            ({"answer": "yes"}, "answer holds “yes”"),
            ({**INSECT, "body": "head"}, "body holds “head”.* Write whole, part_with_head, .* or colony"),
            ({**INSECT, "basis": "eye"}, "basis holds “eye”.* in_hand, loupe or picture"),
            ({**INSECT, "unaided": "ja"}, "unaided holds “ja”.* yes, no or not_tried"),
            (
                {"answer": "", "kind": "aphid", "note": "x"},
                "answer is empty, but kind, note is filled in. Write insect",
            ),
            ({"answer": " ", "reviewer": "Jon"}, "answer is empty, but reviewer"),
            ({"answer": "not_insect", "kind": "aphid"}, "said of an insect only"),
            ({**INSECT, "body": "colony"}, "A colony needs a count"),
            ({**INSECT, "count_least": "3", "count_most": "4"}, "for a colony only"),
            ({**INSECT, "body": "colony", "count_least": "5", "count_most": "4"}, "the second no smaller"),
            ({**INSECT, "body": "colony", "count_least": "2,5", "count_most": "4"}, "“2,5”, but only a whole number"),
            (
                {**INSECT, "body": "colony", "count_least": "1.500", "count_most": "2000"},
                "may separate thousands or decimals",
            ),
            ({**INSECT, "body": "colony", "count_least": "many", "count_most": "4"}, "“many”, which is no number"),
            ({**INSECT, "ring_x_px": "3"}, "fill in all three"),
            ({**INSECT, "ring_x_px": "3", "ring_y_px": "3", "ring_radius_px": "0"}, "must be above 0"),
            ({**INSECT, "ring_x_px": "3", "ring_y_px": "3", "ring_radius_px": "9"}, "for a colony only"),
            ({**INSECT, "note": "x" * 2001}, "note is longer than 2000"),
            ({**INSECT, "note": "a\x07b"}, "control character"),
            ({**INSECT, "note": "\u202eabc"}, "control character"),
            ({**INSECT, "reviewer": "x" * 81}, "name is longer than 80"),
        ],
    )
    def test_for_what_a_person_filled_in(self, cells: dict[str, str], says: str) -> None:
        taken = take_rows(filled({}, cells))
        with pytest.raises(TableError, match=says):
            raise TableError(only_refusal(taken, row=3))
        assert not taken.answers
        assert taken.unanswered == 6

    @pytest.mark.parametrize(
        ("cells", "says"),
        [
            ({"run": "rffffffffffff"}, f"another run, “rffffffffffff”, and this folder holds run {RUN}"),
            ({"shot_sha256": "ab" * 32}, "No photograph of this run has the shot_sha256 abababab…"),
            ({"shot_sha256": "1,23457E+63"}, "the spreadsheet has changed this hash"),
            ({"shot_sha256": "1.23457e+63"}, "the spreadsheet has changed this hash"),
            ({"shot_sha256": FIRST[:50]}, "the spreadsheet has changed this hash"),
            ({"shot_sha256": "tray 1"}, "a hash is 64 letters and digits"),
            ({"candidate": "99"}, "no candidate 99 in the shot =tray 1.jpg"),
            ({"candidate": "1.5"}, "only a whole number"),
            ({"candidate": "100.001"}, "may separate thousands or decimals"),
            ({"candidate": "1E+05"}, "the spreadsheet has shortened this number"),
            ({"candidate": "01. Jan"}, "“01. Jan”, which is no number: a spreadsheet may have made it a date"),
            (
                {"candidate": "", "shot_sha256": ""},
                "does not say which speck .* shot_sha256, candidate must be filled in",
            ),
            ({"x_px": "12. Mai"}, "x_px holds “12. Mai”, which is no number"),
            ({"x_px": "1.234"}, "may separate thousands or decimals"),
        ],
    )
    def test_for_which_speck_it_is(self, cells: dict[str, str], says: str) -> None:
        taken = take_rows(filled({**INSECT, **cells}))
        with pytest.raises(TableError, match=says):
            raise TableError(only_refusal(taken, row=2))

    def test_for_the_want_of_a_name(self) -> None:
        assert "give your name" in only_refusal(take_rows(filled(INSECT), reviewer=" "), row=2)

    def test_that_lie_elsewhere(self) -> None:
        sentence = only_refusal(take_rows(filled({**INSECT, "x_px": "1236,0"})), row=2)
        assert "x_px holds “1236,0”, but candidate 1 of the shot =tray 1.jpg lies at 1234.5" in sentence
        assert "sorted without the others" in sentence
        assert "y_px holds" in only_refusal(take_rows(filled({"y_px": "500"})), row=2)

    @pytest.mark.parametrize(
        "x_px", ["1234.5", "1234,5", "1235.5", "1233.5", "1.234,5", "1,234.5", "1 234,5", "1'234.5", ""]
    )
    def test_not_for_how_a_number_is_written(self, x_px: str) -> None:
        assert len(take_rows(filled({**INSECT, "x_px": x_px})).answers) == 1

    def test_that_contradict_each_other(self) -> None:
        rows = filled(INSECT)
        taken = take_rows([*rows, {**rows[0], "answer": "not_insect", "kind": "", "body": ""}])
        assert [refusal.row for refusal in taken.refused] == [2, 9]
        assert {refusal.sentence for refusal in taken.refused} == {
            "Rows 2 and 9 are about the same speck and say different things. Keep one and delete the others."
        }
        assert not taken.answers

    def test_by_two_persons_contradict_each_other_too(self) -> None:
        rows = filled(INSECT)
        assert len(take_rows([*rows, {**rows[0], "reviewer": "Jon"}]).refused) == 2

    def test_that_are_longer_than_the_header(self) -> None:
        lines = table_of(filled(INSECT)).split("\r\n")
        lines[1] += ",sat on a stem"
        assert "more cells than there are columns" in only_refusal(take_bytes("\r\n".join(lines).encode()), row=2)

    def test_the_others_are_taken(self) -> None:
        taken = take_rows(filled({"answer": "ja"}, INSECT, {"candidate": "x"}, INSECT))
        assert [refusal.row for refusal in taken.refused] == [2, 4]
        assert len(taken.answers) == 2


class TestHashes:
    def test_zeros_that_were_lost_are_put_back(self) -> None:
        rows = rows_given()
        row = next(row for row in rows if row["shot_sha256"] == SECOND)
        row |= {"shot_sha256": SECOND.lstrip("0"), "answer": "insect"}
        assert [answer.speck for answer in take_rows(rows).answers] == [speck(1, SECOND)]

    @pytest.mark.parametrize("cell", [FIRST.upper(), f" {FIRST} ", f"'{FIRST}"])
    def test_case_and_spaces_do_not_matter(self, cell: str) -> None:
        assert len(take_rows(filled({**INSECT, "shot_sha256": cell})).answers) == 1

    def test_digits_and_an_e_that_are_all_there_are_a_hash(self) -> None:
        like_a_number = "1234e56".zfill(64)
        assert hash_in("shot_sha256", "1234e56", {like_a_number}) == like_a_number


class TestNumbers:
    @pytest.mark.parametrize(
        ("cell", "value"),
        [
            *(("1", 1), ("1.0", 1), ("1,0", 1), ("-0,5", -0.5), ("−3", -3), ("0,123", 0.123), ("1234,567", 1234.567)),
            *(("1,234,567", 1234567), ("1.234.567,8", 1234567.8), ("1\u202f234,5", 1234.5), ("1’234", 1234), ("'7", 7)),
            *(("１２", 12), ("١٢", 12)),
        ],
    )
    def test_that_can_only_be_meant_one_way(self, cell: str, value: float) -> None:
        assert number_in("x_px", cell) == value

    @pytest.mark.parametrize(
        "cell", ["", "1.234", "12,345", "1,00,001", "1e3", "nan", "inf", "1/2", "1²", "5 %", "9" * 41, "1,2,3"]
    )
    def test_that_can_not_are_refused(self, cell: str) -> None:
        with pytest.raises(TableError, match=r"^x_px holds “.*\.$"):
            number_in("x_px", cell)

    @given(number=st.integers(0, 10**9), decimal=st.sampled_from(".,"), zeros=st.integers(1, 2))
    @settings(max_examples=30)
    def test_whole_ones_with_decimals(self, number: int, decimal: str, zeros: int) -> None:
        assert whole_in("candidate", f"{number}{decimal}{'0' * zeros}") == number
