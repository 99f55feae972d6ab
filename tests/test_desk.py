"""The desk without a socket: what is told before and after an answer and to whom, what is kept, and what it adds up to."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from made_desk import (
    SHOTS,
    act,
    add_entries,
    desk_of,
    drawn_line,
    flags_of,
    made_folder,
    shot_of,
    speck,
)
from scored_folder import KINDS, Made, entry_of, places

from cli.review.answers import FIRST_ADDED, AnswerError, SpeckId, WrongDesk
from cli.review.desk import Desk
from vision.table import CANDIDATES, PERSON_COLUMNS
from vision.table import SHOTS as SHOT_COLUMNS

PLACE = {"candidate", "x_px", "y_px", "left_px", "top_px", "wide_px", "high_px"}
OTHER_RUN = "rba9876543210"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return made_folder(tmp_path)


@pytest.fixture
def desk(folder: Path) -> Iterator[Desk]:
    with desk_of(folder) as opened:
        yield opened


@pytest.fixture(scope="module")
def held(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """One for all tests after which nothing is kept."""
    with desk_of(made_folder(tmp_path_factory.mktemp("desk"))) as opened:
        yield opened


def answer_all(desk: Desk, reviewer: str, reading: int, answer: str = "insect", **more: object) -> None:
    for flag in desk.shelf.flags:
        desk.answer(act(flag, answer, reviewer, reading=reading, **more))


def keys_in(told: object) -> set[str]:
    """Every key at any depth."""
    if isinstance(told, dict):
        return {str(key) for key in told} | set().union(*map(keys_in, told.values()))
    return set().union(*map(keys_in, told)) if isinstance(told, list) else set()


class TestBeforeAnAnswer:
    def test_a_flag_is_a_place_and_no_more(self, desk: Desk) -> None:
        told = desk.shots(1, "Ida")
        assert told["said"] == []
        for flag in flags_of(told).values():
            assert set(flag) == PLACE | {"found_by"}

    def test_no_word_or_number_of_the_tool_is_told(self, desk: Desk) -> None:
        told = [desk.opening(), desk.shots(1, "Ida"), desk.said(1, 0), desk.sums(1)]
        text = json.dumps(told)
        for kind in (*KINDS, "dark", "round,", "darker"):
            assert kind not in text
        columns = {column.name for column in CANDIDATES} - {column.name for column in SHOT_COLUMNS} - {*PERSON_COLUMNS}
        assert keys_in(told) & columns == PLACE | {"found_by"}
        assert "candidates" not in keys_in(told), "how many the tool listed is told by the flags alone"

    def test_flags_stand_in_picture_order_whatever_their_numbers(self, tmp_path: Path) -> None:
        made = Made("tray.jpg", 12)
        folder = made_folder(tmp_path, [made])
        order = [7, 3, 12, 1, 9, 4, 11, 2, 8, 5, 10, 6]
        add_entries(folder, entry_of(made, order=order)[0])
        with desk_of(folder) as desk:
            flags = desk.shots(1, "Ida")["shots"][0]["flags"]
        rows = [math.floor(flag["y_px"] / (400 / 12)) for flag in flags]
        assert [flag["candidate"] for flag in flags] != sorted(order)
        assert [(row, flag["x_px"]) for row, flag in zip(rows, flags, strict=True)] == sorted(
            (math.floor(y / (400 / 12)), x) for x, y in places(made)
        )

    def test_of_a_shot_is_told_what_it_could_show(self, desk: Desk) -> None:
        facts = desk.shots(1, "Ida")["shots"][0]["facts"]
        assert (facts["limit_round_mm"], facts["limit_linear_mm"], facts["unsearched_pct"]) == ("0.30", "0.15", "1.5")


class TestAfterAnAnswer:
    @pytest.mark.parametrize("answer", ["insect", "not_insect"])
    def test_what_the_tool_thought_is_told(self, desk: Desk, answer: str) -> None:
        reply = desk.answer(act(speck(desk, 2), answer))
        told = {"resembles": "thrips", "why": "dark, round", "score": "0.890"}
        sizes = {"length_mm": "0.60", "width_mm": "0.50", "size_uncertainty": ""}
        assert reply["told"] == told | sizes
        assert (reply["candidate"], reply["answer"], reply["reviewer"]) == (2, answer, "Ida")

    def test_of_what_waits_for_another_look_nothing_is_told(self, desk: Desk) -> None:
        assert desk.answer(act(speck(desk), "look_again"))["told"] is None
        assert desk.shots(1, "Jon")["said"][0]["told"] is None
        assert desk.answer(act(speck(desk), "insect", "Jon"))["told"] is not None

    def test_of_an_answer_taken_back_nothing_is_told(self, desk: Desk) -> None:
        desk.answer(act(speck(desk)))
        assert desk.answer(act(speck(desk), ""))["told"] is None
        assert desk.shots(1, "Ida")["said"] == []

    def test_the_last_answer_counts_and_all_stay(self, desk: Desk) -> None:
        for answer in ("insect", "look_again", "not_insect"):
            desk.answer(act(speck(desk), answer))
        assert [each["answer"] for each in desk.shots(1, "Ida")["said"]] == ["not_insect"]
        assert [each["answer"] for each in desk.said(1, 0)["said"]] == ["insect", "look_again", "not_insect"]

    def test_others_hear_what_is_new(self, desk: Desk) -> None:
        first = desk.answer(act(speck(desk, 1)))
        assert desk.said(1, 0)["last"] == first["number"]
        second = desk.answer(act(speck(desk, 2), "not_insect", "Jon"))
        heard = desk.said(1, first["number"])
        assert [(each["candidate"], each["reviewer"]) for each in heard["said"]] == [(2, "Jon")]
        assert heard["last"] == second["number"]
        assert desk.said(1, heard["last"])["said"] == []

    def test_an_act_that_is_brought_twice_is_one(self, desk: Desk, folder: Path) -> None:
        fields = act(speck(desk))
        first = desk.answer(fields)
        assert desk.answer(fields) == first
        # Also where it would be refused by now: the page only missed the reply.
        next((folder / "pictures").glob("tray 1*")).unlink()
        assert desk.answer(fields) == first
        assert len(desk.said(1, 0)["said"]) == 1


class TestWhatIsRefused:
    @pytest.fixture
    def desk(self, held: Desk) -> Desk:
        return held

    def test_specks_that_are_not_there(self, desk: Desk) -> None:
        ours = speck(desk)
        for of in (replace(ours, candidate=99), SpeckId("0" * 64, ours.run, 1)):
            with pytest.raises(AnswerError, match=r"\.$"):
                desk.answer(act(of))
        # What belongs to another run is to be kept by the page, so it is told apart.
        with pytest.raises(WrongDesk, match=OTHER_RUN):
            desk.answer(act(replace(ours, run=OTHER_RUN)))
        with pytest.raises(WrongDesk, match=OTHER_RUN):
            desk.add(drawn_line(shot_of(desk)) | {"run": OTHER_RUN})
        assert desk.said(1, 0)["said"] == []

    @pytest.mark.parametrize("reading", [2, 3, 4, -1])
    def test_readings_that_nobody_asked_for(self, desk: Desk, reading: int) -> None:
        with pytest.raises(AnswerError, match="reading"):
            desk.answer(act(speck(desk), reading=reading))

    def test_an_act_without_a_token(self, desk: Desk) -> None:
        with pytest.raises(AnswerError, match="token"):
            desk.answer(act(speck(desk), token=""))

    @pytest.mark.parametrize(
        "wrong",
        [
            {"x_px": math.nan},
            {"y_px": math.inf},
            {"length_px": -1.0},
            {"length_px": 10**400},
            {"angle_deg": math.nan},
            {"angle_deg": -math.inf},
            {"x_px": "50"},
            {"x_px": True},
            {"y_px": None},
            {"x_px": -0.6},
            {"x_px": 599.6},
            {"y_px": 399.6},
            {"reviewer": ""},
            {"reviewer": "  "},
            {"reviewer": None},
            {"reviewer": 7},
            {"reviewer": "x" * 81},
            {"reviewer": "a\ud800"},
            {"token": ""},
            {"token": None},
            {"token": "x" * 81},
            {"shot_sha256": "0" * 64},
            {"shot_sha256": None},
            {"answer": "insect"},
            {"answer": {"answer": "perhaps"}},
            {"answer": {"answer": "insect", "body": "colony"}},
        ],
    )
    def test_added_specks_that_can_not_be_meant(self, desk: Desk, wrong: dict[str, Any]) -> None:
        with pytest.raises(AnswerError, match=r"\.$"):
            desk.add(drawn_line(shot_of(desk)) | wrong)
        assert desk.said(1, 0)["added"] == []

    @pytest.mark.parametrize(
        "wrong",
        [
            {"seconds": math.nan},
            {"seconds": math.inf},
            {"seconds": -1},
            {"seconds": 10**400},
            {"seconds": "3"},
            {"reading": 0},
            {"reading": 4},
            {"reading": 10**30},
            {"reading": "1"},
            {"reading": True},
            {"reviewer": None},
            {"reviewer": "\ud800"},
            {"reviewer": "x" * 81},
            {"token": None},
            {"token": "x" * 81},
            {"shot_sha256": "0" * 64},
            {"shot_sha256": ["a"]},
        ],
    )
    def test_looks_that_can_not_be_meant(self, desk: Desk, wrong: dict[str, Any]) -> None:
        run = desk.shelf.run
        look = {"shot_sha256": shot_of(desk).sha256, "run": run, "reviewer": "Ida", "seconds": 2.5, "token": "t"}
        with pytest.raises(AnswerError, match=r"\.$"):
            desk.looked(look | {"reading": 1} | wrong)
        with pytest.raises(WrongDesk, match=OTHER_RUN):
            desk.looked(look | {"run": OTHER_RUN})
        assert desk.store.looks(desk.shelf.run) == []

    @pytest.mark.parametrize(
        ("share", "by"), [(0.0, "Lea"), (1.01, "Lea"), (math.nan, "Lea"), (0.2, " "), (0.2, "x" * 81), (0.2, "\n")]
    )
    def test_second_readings_that_can_not_be_meant(self, desk: Desk, share: float, by: str) -> None:
        with pytest.raises(AnswerError, match=r"\.$"):
            desk.begin_second(share, by)
        assert desk.opening()["readings"] == [1]


class TestTheSecondReading:
    @pytest.fixture(autouse=True)
    def asked(self, desk: Desk) -> None:
        answer_all(desk, "Ida", 1, kind="aphid", note="under a bract")
        desk.begin_second(1.0, "Lea")

    def test_nothing_of_the_first_is_told_before_the_second(self, desk: Desk) -> None:
        told = [desk.shots(2, "Jon"), desk.said(2, 0)]
        text = json.dumps(told)
        assert all(word not in text for word in ("Ida", "aphid", "bract", "insect"))
        assert len(flags_of(told[0])) == 4
        assert all(set(flag) == PLACE for flag in flags_of(told[0]).values())
        assert desk.sums(2)["all"] | {"flags": 7, "open": 7} == desk.sums(2)["all"]
        assert desk.sums(2)["all"]["insect"] == 0

    def test_a_reply_tells_of_the_tool_and_not_of_the_first(self, desk: Desk) -> None:
        reply = desk.answer(act(speck(desk), "not_insect", "Jon", reading=2))
        assert reply["told"]["resembles"] == "aphid"
        assert "Ida" not in json.dumps(reply)
        assert [each["reviewer"] for each in desk.shots(2, "Jon")["said"]] == ["Jon"]

    @pytest.mark.parametrize("name", ["Ida", "IDA", " ida", "Ida\u3000"])
    def test_is_not_the_first_person_s(self, desk: Desk, name: str) -> None:
        told = desk.shots(2, name)
        assert (told["shots"], told["yours_before"]) == ([], 7)
        with pytest.raises(AnswerError, match="second eyes are somebody else's"):
            desk.answer(act(speck(desk), reviewer=name, reading=2))
        assert desk.said(2, 0)["said"] == []

    def test_whoever_read_second_does_not_become_the_first(self, desk: Desk) -> None:
        desk.answer(act(speck(desk), reviewer="Jon", reading=2))
        with pytest.raises(AnswerError, match="second eyes"):
            desk.answer(act(speck(desk), reviewer="Jon", reading=1))
        assert 1 not in flags_of(desk.shots(1, "Jon"))
        assert desk.shots(1, "Jon")["yours_before"] == 1

    def test_shots_without_a_flag_of_it_are_no_part_of_it(self, desk: Desk) -> None:
        assert [shot["name"] for shot in desk.shots(1, "Kim")["shots"]] == [made.name for made in SHOTS]
        assert [shot["name"] for shot in desk.shots(2, "Kim")["shots"]] == ["tray 1.jpg", "tray 2.jpg"]

    def test_an_added_speck_does_not_tell_that_somebody_saw_an_insect(self, desk: Desk) -> None:
        added = desk.add(drawn_line(shot_of(desk)))
        flag = flags_of(desk.shots(2, "Jon"))[added["candidate"]]
        assert set(flag) == PLACE
        assert desk.said(2, 0)["added"] == []

    def test_the_third_is_about_what_two_see_differently(self, desk: Desk) -> None:
        desk.answer(act(speck(desk, 1), "insect", "Jon", reading=2, kind="Aphid"))
        desk.answer(act(speck(desk, 2), "insect", "Jon", reading=2, kind="thrips"))
        desk.answer(act(speck(desk, 3), "not_insect", "Jon", reading=2))
        desk.answer(act(speck(desk, 4), "look_again", "Jon", reading=2))
        told = desk.shots(3, "Kim")
        assert sorted(flags_of(told)) == [2, 3]
        assert told["said"] == []
        for number in (1, 4):
            with pytest.raises(AnswerError, match="no part of this reading"):
                desk.answer(act(speck(desk, number), reviewer="Kim", reading=3))
        for name in ("Ida", "Jon"):
            assert desk.shots(3, name) | {"shots": [], "yours_before": 2} == desk.shots(3, name)
            with pytest.raises(AnswerError, match="second eyes"):
                desk.answer(act(speck(desk, 2), reviewer=name, reading=3))
        desk.answer(act(speck(desk, 2), "not_insect", "Kim", reading=3))
        states = {"agreed": 1, "decided": 1, "disagreed": 1, "open": 1, "awaited": 3}
        assert desk.standings() == states
        assert sorted(flags_of(desk.shots(3, "Kim"))) == [2, 3], "what Kim has decided can be changed"

    def test_pairs_leave_out_what_is_open_or_taken_back(self, desk: Desk) -> None:
        for number, answer in ((1, "insect"), (2, "not_insect"), (3, "look_again"), (4, "insect")):
            desk.answer(act(speck(desk, number), answer, "Jon", reading=2))
        desk.answer(act(speck(desk, 4), "", "Jon", reading=2))
        desk.answer(act(speck(desk, 2), "insect", "Kim", reading=3))
        pairs = [(one.speck.candidate, one.answer, two.answer) for one, two in desk.pairs()]
        assert sorted(pairs) == [(1, "insect", "insect"), (2, "insect", "not_insect")]

    def test_is_drawn_once(self, desk: Desk) -> None:
        before = desk.second_readings()
        assert desk.begin_second(0.5, "Jon") == before[0]
        assert desk.second_readings() == before


class TestAddedSpecks:
    def test_are_numbered_within_their_shot_and_shown_to_others(self, desk: Desk) -> None:
        here, there = shot_of(desk), shot_of(desk, "tray 3.jpg")
        told = [desk.add(drawn_line(shot, x)) for shot, x in ((here, 50), (here, 90), (there, 50))]
        numbers = [(each["shot"], each["candidate"]) for each in told]
        assert numbers == [(here.sha256, FIRST_ADDED), (here.sha256, FIRST_ADDED + 1), (there.sha256, FIRST_ADDED)]
        heard = desk.said(1, 0)["added"]
        assert [each | {"said": None} for each in heard] == told
        flag = flags_of(desk.shots(1, "Jon"))[FIRST_ADDED]
        assert (flag["x_px"], flag["y_px"], flag["found_by"], flag["by"]) == (50.0, 60.0, "person", "Ida")

    def test_one_that_is_brought_twice_is_one(self, desk: Desk, folder: Path) -> None:
        fields = drawn_line(shot_of(desk))
        first = desk.add(fields)
        next((folder / "pictures").glob("tray 1*")).unlink()
        assert desk.add(fields) == first
        assert len(desk.said(1, 0)["added"]) == 1

    def test_are_answered_like_the_others_with_nothing_to_tell(self, desk: Desk) -> None:
        desk.add(drawn_line(shot_of(desk)))
        reply = desk.answer(act(speck(desk, FIRST_ADDED), kind="mite"))
        assert (reply["kind"], reply["told"]) == ("mite", None)
        assert desk.sums(1)["all"]["flags"] == 8

    def test_a_point_has_a_box_that_can_be_seen(self, desk: Desk) -> None:
        told = desk.add(drawn_line(shot_of(desk), 50, 60, length_px=0, angle_deg=0))
        assert (told["left_px"], told["top_px"], told["wide_px"], told["high_px"]) == (44.0, 54.0, 12, 12)

    def test_up_to_the_picture_s_edge(self, desk: Desk) -> None:
        for x, y in ((-0.5, -0.5), (599.5, 399.5)):
            assert desk.add(drawn_line(shot_of(desk), x, y))["x_px"] == x


class TestLooks:
    def test_are_one_person_s_in_one_reading(self, desk: Desk) -> None:
        sha256 = shot_of(desk).sha256
        run = desk.shelf.run
        desk.looked({"shot_sha256": sha256, "run": run, "reviewer": "Ida ", "reading": 1, "seconds": 2.5, "token": "t"})
        for name, reading, looked in (("ida", 1, True), ("Jon", 1, False)):
            shots = desk.shots(reading, name)["shots"]
            assert [shot["looked"] for shot in shots] == [looked, False, False]
        desk.begin_second(1.0, "Lea")
        assert not desk.shots(2, "Ida")["shots"][0]["looked"]

    def test_come_with_their_answer_and_go_when_it_is_taken_back(self, desk: Desk) -> None:
        fields = drawn_line(shot_of(desk), answer={"answer": "insect", "kind": "aphid", "body": "whole"})
        told = desk.add(fields)
        assert (told["said"]["answer"], told["said"]["kind"], told["said"]["reviewer"]) == ("insect", "aphid", "Ida")
        # Brought again, because the reply was lost, it is the same.
        assert desk.add(fields) == told
        of = speck(desk, told["candidate"])
        back = desk.answer(act(of, ""))
        assert (back["stands"], back["withdrawn"]) == (None, True)
        after = desk.said(1, 0)
        assert after["added"] == []
        assert after["withdrawn"] == [{"shot": of.shot_sha256, "candidate": of.candidate}]
        assert FIRST_ADDED not in flags_of(desk.shots(1, "Jon"))
        assert desk.sums(1)["all"]["flags"] == 7

    def test_a_later_reader_adds_for_the_first_reading(self, desk: Desk) -> None:
        desk.begin_second(1.0, "Lea")
        told = desk.add(drawn_line(shot_of(desk), by="Jon", answer={"answer": "insect"}))
        assert told["said"]["answer"] == "insect"
        assert [each["candidate"] for each in desk.said(1, 0)["said"]] == [FIRST_ADDED]
        assert desk.said(2, 0)["said"] == []


class TestWhatOthersKeep:
    def test_an_answer_by_way_of_another_store_is_heard_at_once(self, folder: Path, desk: Desk) -> None:
        with desk_of(folder) as other:
            for number, word in ((1, "insect"), (2, "not_insect")):
                other.answer(act(speck(desk, number), word, "Jon"))
                desk.answer(act(speck(desk, number + 2), "look_again"))
                assert desk.said(1, 0)["said"] == other.said(1, 0)["said"]
        assert [each["candidate"] for each in desk.said(1, 0)["said"]] == [1, 3, 2, 4]
        assert [each["candidate"] for each in desk.said(1, 2)["said"]] == [2, 4]
