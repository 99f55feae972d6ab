"""The same photographs scored again: answers of an earlier run are offered where the speck still lies, and move to no other."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from made_desk import SHOTS, act, add_entries, desk_of, drawn_line, flags_of, made_folder, moved, shot_of, speck
from scored_folder import entry_of, places

from cli.review.answers import FIRST_ADDED
from cli.review.desk import Desk

OTHER_RUN = "rba9876543210"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return made_folder(tmp_path)


class TestAnEarlierRun:
    """The same photographs, scored again into another folder, with one record for both."""

    def again(self, tmp_path: Path, dx: float = 2.0, order: list[int] | None = None, run: str = OTHER_RUN) -> Path:
        folder = made_folder(tmp_path, SHOTS, run, name=f"again-{run}")
        entry, _ = entry_of(SHOTS[0], run, order or [4, 3, 2, 1])
        add_entries(folder, moved(entry, dx, -dx), run=run)
        return folder

    def test_is_offered_at_the_same_place_whatever_its_number(self, tmp_path: Path, folder: Path) -> None:
        store = tmp_path / "shared.sqlite"
        with desk_of(folder, store) as desk:
            desk.answer(act(speck(desk, 1), "insect", kind="aphid", body="skin", note="on the rim"))
            desk.answer(act(speck(desk, 4), "not_insect", "Jon"))
            desk.answer(act(speck(desk, 2), "insect"))
            desk.answer(act(speck(desk, 2), ""))
        with desk_of(self.again(tmp_path), store) as desk:
            flags = flags_of(desk.shots(1, "Ida"))
            offered = {number: flag["before"] for number, flag in flags.items() if "before" in flag}
            assert {number: each["answer"] for number, each in offered.items()} == {4: "insect", 1: "not_insect"}
            told = {"kind": "aphid", "body": "skin", "note": "on the rim", "reviewer": "Ida"}
            assert offered[4] | told == offered[4]
            assert offered[1]["run"] == "r0123456789ab"
            assert set(offered[4]) & {"resembles", "why", "score", "told"} == set()
            # Offered, not taken over.
            assert desk.shots(1, "Ida")["said"] == []
            assert desk.sums(1)["all"]["open"] == 7
            assert '"before"' not in json.dumps(self.second(desk))

    def second(self, desk: Desk) -> dict[str, Any]:
        desk.begin_second(1.0, "Lea")
        return desk.shots(2, "Jon")["shots"]  # type: ignore[no-any-return]

    def test_no_answer_moves_to_another_speck(self, tmp_path: Path, folder: Path) -> None:
        store = tmp_path / "shared.sqlite"
        with desk_of(folder, store) as desk:
            for flag in desk.shelf.flags.values():
                # The note says where the speck lay.
                desk.answer(act(flag.speck, note=f"{flag.x_px},{flag.y_px}"))
        for dx, order in ((0.0, [2, 3, 4, 1]), (3.0, [3, 1, 4, 2]), (40.0, [1, 2, 3, 4]), (150.0, [1, 2, 3, 4])):
            with desk_of(self.again(tmp_path, dx, order, f"r{int(dx):012x}"), store) as desk:
                shots = desk.shots(1, "Ida")
                for flag in flags_of(shots).values():
                    if "before" in flag:
                        x, y = map(float, flag["before"]["note"].split(","))
                        assert math.hypot(flag["x_px"] - x, flag["y_px"] - y) <= 6.5
                offered = sum("before" in flag for flag in flags_of(shots).values())
                assert offered == (4 if dx <= 3 else 0)
                assert all("before" in flag for flag in flags_of(shots, "tray 2.jpg").values())
                assert desk.sums(1)["all"]["insect"] == 0

    def test_the_same_run_again_finds_its_answers(self, tmp_path: Path, folder: Path) -> None:
        with desk_of(folder) as desk:
            desk.answer(act(speck(desk, 3), "not_insect"))
        made_folder(tmp_path)
        with desk_of(folder) as desk:
            assert [each["candidate"] for each in desk.shots(1, "Ida")["said"]] == [3]
            assert '"before"' not in json.dumps(desk.shots(1, "Ida"))

    def test_what_a_person_added_is_offered_where_the_tool_now_flags_it(self, tmp_path: Path, folder: Path) -> None:
        store = tmp_path / "shared.sqlite"
        x, y = places(SHOTS[0])[0]
        with desk_of(folder, store) as desk:
            desk.add(drawn_line(shot_of(desk), x + 1, y + 1))
            desk.answer(act(speck(desk, FIRST_ADDED), kind="mite"))
        with desk_of(self.again(tmp_path, 0.0), store) as desk:
            offered = {n: f["before"]["kind"] for n, f in flags_of(desk.shots(1, "Ida")).items() if "before" in f}
            assert offered == {4: "mite"}
