"""What answers add up to at the desk, sample by sample as people put it right; and photographs that hold nothing to answer."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from made_desk import SHOTS, act, add_entries, desk_of, drawn_line, failed, made_folder, shot_of, speck, twin
from scored_folder import Made

from cli.lots.entries import Correction, Entered
from cli.review.answers import FIRST_ADDED
from cli.review.desk import Desk


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return made_folder(tmp_path)


@pytest.fixture
def desk(folder: Path) -> Iterator[Desk]:
    with desk_of(folder) as desk:
        yield desk


class TestSums:
    def test_by_hand(self, desk: Desk) -> None:
        for number, fields in (
            (1, {"answer": "insect"}),
            (2, {"answer": "insect", "body": "colony", "least": 5, "most": 12}),
            (3, {"answer": "look_again"}),
        ):
            desk.answer(act(speck(desk, number)) | fields)
        for number, answer in ((1, "not_insect"), (2, "insect"), (3, "insect")):
            desk.answer(act(speck(desk, number, "tray 2.jpg"), answer))
        desk.answer(act(speck(desk, 3, "tray 2.jpg"), ""))
        desk.add(drawn_line(shot_of(desk, "tray 3.jpg")))
        desk.answer(act(speck(desk, FIRST_ADDED, "tray 3.jpg"), body="skin"))
        sums = desk.sums(1)
        first = {"flags": 4, "insect": 2, "not_insect": 0, "look_again": 1, "least": 6, "most": 13, "open": 2}
        first |= {"remains": 0, "not_looked": 1}
        # The skin stands for no animal. Nobody has looked at any of the three as a whole.
        second = {"flags": 4, "insect": 2, "not_insect": 1, "look_again": 0, "least": 1, "most": 1, "open": 1}
        second |= {"remains": 1, "not_looked": 2}
        assert sums["samples"] == [
            {"lot": "L-17", "sample": "1", **first},
            {"lot": "L-17", "sample": "2", **second},
        ]
        assert sums["all"] == {name: first[name] + second[name] for name in first}

    def test_of_a_folder_without_samples(self, tmp_path: Path) -> None:
        with desk_of(made_folder(tmp_path, [Made("a.jpg", 2, lot="", sample="")])) as desk:
            sums = desk.sums(1)
        nothing = {"insect": 0, "not_insect": 0, "look_again": 0, "least": 0, "most": 0, "remains": 0, "not_looked": 1}
        assert sums["samples"] == [{"lot": "", "sample": "", "flags": 2, "open": 2, **nothing}]


def test_what_was_put_right_counts_where_it_belongs(desk: Desk) -> None:
    shot = shot_of(desk, "tray 2.jpg")
    for number, (field, value) in enumerate([("sample", "9"), ("sample", "3"), ("view", "underside")]):
        desk.store.add_entry(Entered("L-17", "Ida", Correction(shot.sha256, field, value), f"c{number}"))
    assert [(row["sample"], row["flags"]) for row in desk.sums(1)["samples"]][-1] == ("3", 3)
    told = {each["name"]: each["facts"] for each in desk.shots(1, "Ida")["shots"]}
    assert (told["tray 2.jpg"]["sample"], told["tray 2.jpg"]["view"]) == ("3", "underside")
    assert told["tray 1.jpg"]["sample"] == "1"


class TestTwinsAndFailures:
    def test_are_told_and_hold_nothing_to_answer(self, folder: Path) -> None:
        broken = Made("broken.jpg", 2, seed=77)
        add_entries(folder, failed(broken, "This is not a picture."), twin(Made("copy.jpg"), SHOTS[0]))
        with desk_of(folder) as desk:
            opening = desk.opening()
            assert opening["failed"] == {"broken.jpg": "This is not a picture."}
            assert opening["twins"] == {"copy.jpg": "tray 1.jpg"}
            assert [shot["name"] for shot in desk.shots(1, "Ida")["shots"]] == [made.name for made in SHOTS]
            assert len(desk.shelf.flags) == 7

    def test_a_run_of_failures_alone_has_nothing_to_answer(self, tmp_path: Path) -> None:
        folder = made_folder(tmp_path, [])
        add_entries(folder, failed(Made("broken.jpg"), "This is not a picture."))
        with desk_of(folder) as desk:
            assert desk.shots(1, "Ida")["shots"] == []
            assert desk.sums(1)["all"]["flags"] == 0
            assert list(desk.opening()["failed"]) == ["broken.jpg"]
