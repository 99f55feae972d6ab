"""The desk's pages of lots through an HTTP client: what they show, what a form becomes, and a form that is sent again."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from made_desk import act, desk_of, made_folder, shot_of, speck
from made_forms import LEAD, LOT, SENT, alert_of, post, sent, text_of, typed_in
from review_client import Page, client_of
from scored_folder import Made
from starlette.testclient import TestClient

from cli.lots.decision import HELD_UNTIL
from cli.lots.entries import (
    Correction,
    Decided,
    DetectionGiven,
    FoundByHand,
    LateEntry,
    Link,
    LotOf,
    Removed,
    Sampled,
)
from cli.review.desk import Desk
from cli.review.words import catalogue


class TestTheList:
    def test_each_lot_with_its_numbers_and_state(self, tmp_path: Path) -> None:
        made = [Made("a.jpg", 4), Made("b.jpg", 3, seed=5), Made("c.jpg", 2, lot="", seed=9)]
        with desk_of(made_folder(tmp_path, made)) as desk:
            client = client_of(desk)
            desk.answer(act(speck(desk, 1, "a.jpg"), "insect"))
            desk.answer(act(speck(desk, 2, "a.jpg"), "not_insect"))
            desk.answer(act(speck(desk, 3, "a.jpg"), "look_again"))
            desk.answer(act(speck(desk, 1, "c.jpg"), "insect"))
            told = lots_in(client.get("/lots").text)
            # By hand: seven flags of which two are answered; two of which one is.
            assert told == {
                LOT: ["2", "5", "1", "held"],
                "no lot named": ["1", "1", "1", "held"],
            }
            post(client, sent("decision", lot=""), LEAD)
            assert lots_in(client.get("/lots").text)["no lot named"][-1] == "decided"
            assert lots_in(client.get("/lots").text)[LOT][-1] == "held"

    def test_a_second_reading_opens_what_two_read_differently(self, own: Desk, mine: TestClient) -> None:
        own.begin_second(1.0, "Lea")
        own.answer(act(speck(own), "insect", "Ida"))
        assert lots_in(mine.get("/lots").text)[LOT][1:3] == ["7", "0"]
        own.answer(act(speck(own), "not_insect", "Jon", reading=2))
        assert lots_in(mine.get("/lots").text)[LOT][1:3] == ["7", "0"]
        own.answer(act(speck(own), "insect", "Kim", reading=3))
        assert lots_in(mine.get("/lots").text)[LOT][1:3] == ["6", "1"]

    def test_lots_without_photographs_are_told_apart(self, mine: TestClient) -> None:
        assert post(mine, sent("late_entry", lot="QH-3 (invented)")).status_code == 303
        page = mine.get("/lots").text
        assert lots_in(page)["QH-3 (invented)"] == ["held"]
        assert "QH-3 (invented)" in page[page.index("of-record") :]
        assert HELD_UNTIL in text_of(mine, "/lots/one?lot=QH-3 (invented)")

    def test_is_reached_from_the_desk_and_from_the_supervisor_s_page(self, mine: TestClient) -> None:
        assert 'href="/lots"' in mine.get("/").text
        assert f'href="{LEAD}/lots"' in mine.get(LEAD).text
        assert mine.get(f"{LEAD}/lots").status_code == 200
        assert f'href="{LEAD}/lots/one?lot=L-17"' in mine.get(f"{LEAD}/lots").text


def lots_in(source: str) -> dict[str, list[str]]:
    """Figures by lot."""
    articles = source.split('<article class="lot">')[1:]
    return {Page(re.findall(r"<bdi>(.*?)</bdi>", a)[0]).text: re.findall(r"<dd>(.*?)</dd>", a) for a in articles}


class TestEntering:
    @pytest.mark.parametrize("what", sorted(SENT))
    def test_each_form_is_one_entry_with_who_and_when(self, own: Desk, mine: TestClient, what: str) -> None:
        base = LEAD if what == "decision" else ""
        answer = post(mine, sent(what, desk=own), base)
        assert answer.status_code == 303, answer.text
        assert answer.headers["location"].startswith(f"{base}/lots/one?lot=L-17&")
        ((kept),) = own.store.entries(LOT)
        assert (kept.what, kept.by, kept.token) == (what, "Ida", "t")
        shown = text_of(mine, answer.headers["location"])
        assert "Kept as entry 1." in shown
        assert "Entry 1, by Ida, 20" in shown
        assert catalogue()[f"entry.{what}"] in shown
        assert {
            "sampled": Sampled("1", 12, 340.5, "drained", 1, "first", "2026-03-04"),
            "lot_of": LotOf(40),
            "removed": Removed("1", "", "outer leaves\npeeled", True),
            "detection": DetectionGiven(seen=18, put_in=20),
            "correction": Correction(shot_of(own).sha256, "sample", "3"),
            "late_entry": LateEntry(
                "2",
                10,
                (FoundByHand("aphid", "whole", 2, 2, "4"), FoundByHand("", "colony", 30, 50)),
                "2026-03-03T21:10:00+01:00",
                "Jon",
                "By lamp.",
            ),
            "decision": Decided(
                "Back to the gardener", "Odile Farrow-Quill (invented)", "2026-03-04T15:00:00+01:00", True
            ),
        }[what] == kept.value

    def test_newest_first_and_late_ones_with_both_times(self, mine: TestClient) -> None:
        post(mine, sent("sampled", "a"))
        post(mine, sent("late_entry", "b"))
        post(mine, sent("decision", "c"), LEAD)
        shown = text_of(mine, "/lots/one?lot=L-17")
        assert shown.index("Entry 3,") < shown.index("Entry 2,") < shown.index("Entry 1,")
        assert "Looked at by Jon, 2026-03-03 21:10+01:00" in shown
        assert "2 × aphid, whole, on piece 4" in shown
        assert "30–50 × not sure which, colony" in shown
        assert "Decided by Odile Farrow-Quill (invented), 2026-03-04 15:00+01:00" in shown
        assert "It was entered later than it was decided." in shown
        assert HELD_UNTIL not in shown

    def test_none_written_by_hand_is_no_finding_of_none(self, mine: TestClient) -> None:
        post(mine, sent("late_entry") | {name: "" for name in SENT["late_entry"] if name[-1].isdigit()})
        assert "0 written down. That is not a finding of none." in text_of(mine, "/lots/one?lot=L-17")

    def test_an_assumed_share_is_in_percent(self, own: Desk, mine: TestClient) -> None:
        post(mine, sent("detection", assumed="87,5", seen="", put_in=""))
        assert [each.value for each in own.store.entries()] == [DetectionGiven(assumed=0.875)]
        assert "Assumed share, in percent 87.5 %" in text_of(mine, "/lots/one?lot=L-17")

    def test_how_many_pieces_a_lot_has_may_not_be_known(self, own: Desk, mine: TestClient) -> None:
        post(mine, sent("lot_of", pieces=""))
        assert [each.value for each in own.store.entries()] == [LotOf(None)]
        assert "Pieces in the whole lot not known" in text_of(mine, "/lots/one?lot=L-17")

    def test_a_decision_without_a_time_is_of_now(self, own: Desk, mine: TestClient) -> None:
        fields = sent("decision", late="no", day="", time="", offset="")
        for _ in range(2):
            assert post(mine, fields, LEAD).status_code == 303
        (kept,) = own.store.entries()
        assert isinstance(kept.value, Decided)
        assert not kept.value.late
        assert kept.value.as_decision().at.utcoffset() is not None

    def test_a_photograph_that_is_put_right_moves(self, own: Desk, mine: TestClient) -> None:
        sha256 = shot_of(own).sha256
        post(mine, sent("correction", "a", own, field="lot", value="L-18"))
        told = lots_in(mine.get("/lots").text)
        assert (told[LOT][0], told["L-18"][0]) == ("2", "1")
        # It is told on both lots, and can be taken back on either.
        for lot in (LOT, "L-18"):
            assert "Belonging put right" in text_of(mine, f"/lots/one?lot={lot}")
        assert sha256 not in mine.get("/lots/one?lot=L-17").text
        post(mine, sent("correction", "b", own, lot="L-18", field="lot", value=LOT))
        assert lots_in(mine.get("/lots").text)[LOT][0] == "3"
        post(mine, sent("correction", "c", own, field="lot", value=""))
        assert lots_in(mine.get("/lots").text)["no lot named"][0] == "1"
        assert "(taken away)" in text_of(mine, "/lots/one?lot=")

    @pytest.mark.parametrize(
        ("field", "typed", "kept"),
        [
            ("grams", "340,50", "340.5"),
            ("check", "02", "2"),
            ("view", "water", "water"),
            ("grams_are", "", ""),
            ("supplier", " Quillmere garden ", "Quillmere garden"),
        ],
    )
    def test_a_value_put_right_is_written_one_way(
        self, own: Desk, mine: TestClient, field: str, typed: str, kept: str
    ) -> None:
        assert post(mine, sent("correction", "a", own, field=field, value=typed)).status_code == 303
        assert own.store.entries()[0].value == Correction(shot_of(own).sha256, field, kept)

    def test_marks_said_to_be_one_animal_are_shown(self, own: Desk, mine: TestClient) -> None:
        from cli.lots.entries import Entered

        own.store.add_entry(Entered(LOT, "Ida", Link((speck(own, 1), speck(own, 2)), "7"), "t"))
        shown = text_of(mine, "/lots/one?lot=L-17")
        assert "Marks that are one animal tray 1.jpg: 1, tray 1.jpg: 2 Card 7" in shown


class TestSentAgain:
    @pytest.mark.parametrize("what", sorted(SENT))
    def test_the_same_form_is_one_entry(self, own: Desk, mine: TestClient, what: str) -> None:
        answers = [post(mine, sent(what, desk=own), LEAD) for _ in range(3)]
        assert {answer.headers["location"] for answer in answers} == {answers[0].headers["location"]}
        assert len(own.store.entries()) == 1

    def test_with_other_words_it_is_not_taken_for_the_same(self, own: Desk, mine: TestClient) -> None:
        post(mine, sent("sampled"))
        answer = post(mine, sent("sampled", pieces="13"))
        assert answer.status_code == 400
        assert "kept before, as entry 1" in alert_of(answer)
        typed = typed_in(answer)
        assert typed["pieces"] == "13"
        assert typed["token"] not in ("t", "")
        assert post(mine, sent("sampled", typed["token"], pieces="13")).status_code == 303
        assert [each.value.pieces for each in own.store.entries()] == [12, 13]  # type: ignore[union-attr]

    def test_each_form_of_a_page_has_a_token_of_its_own(self, mine: TestClient) -> None:
        tokens = [
            a["value"]
            for _ in range(2)
            for path in (f"{LEAD}/lots/one?lot=L-17", f"{LEAD}/lots/rule?lot=L-17")
            for tag, a in Page(mine.get(path).text).elements
            if a.get("name") == "token"
        ]
        assert len(tokens) == 2 * (7 + 2)
        assert len(set(tokens)) == len(tokens)
