"""A record held to its folder: `speckwise report --verify`. All invented."""

from __future__ import annotations

import json
import re
import sqlite3
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lot_folder import LOT, People, people_on, shelf_of
from made_entries import ANY
from report_calls import SHOTS, Call, answered, caller, refused

from cli.batch.standing import RECORD
from cli.lots.entries import Correction, LateEntry, LotOf
from cli.lots.gather import lots_of
from cli.lots.hear import rows_of
from cli.lots.record import Wanted
from cli.lots.record_page import what_differs
from cli.lots.report import hashes, page_of, sources_of
from cli.review.answers import Answer
from cli.review.shelf import STORE
from cli.review.store import Store, sqlite_url
from vision.files import encode_jpeg, write_json
from vision.words import WHO_DECIDES


@pytest.fixture
def call(capfd: pytest.CaptureFixture[str]) -> Call:
    return caller(capfd)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return answered(tmp_path / "out")


class TestVerify:
    @pytest.fixture
    def record(self, folder: Path, tmp_path: Path, call: Call) -> Path:
        out = tmp_path / "lot.html"
        assert call(folder, "--out", out)[0] == 0
        return out

    def change(self, record: Path, before: str, after: str) -> None:
        page = record.read_text(encoding="utf-8")
        assert before in page
        record.write_text(page.replace(before, after, 1), encoding="utf-8")

    def differs(self, outcome: tuple[int, str, str]) -> str:
        code, out, err = outcome
        assert (code, err) == (1, "")
        assert "is what" not in out
        assert out.splitlines()[-1] == WHO_DECIDES
        return out

    def test_it_agrees(self, folder: Path, record: Path, call: Call) -> None:
        code, out, _ = call(folder, "--verify", "--out", record)
        assert code == 0
        assert out.splitlines() == [
            f"lot.html is what {folder} gives, by the answers and entries it was made from.",
            WHO_DECIDES,
        ]

    def test_so_does_one_for_the_supplier_on_letter_paper_with_levels(
        self, folder: Path, tmp_path: Path, call: Call
    ) -> None:
        for words in (["--supplier", "--paper", "letter"], ["--defect-levels", "broccoli"]):
            assert call(folder, *words, "--out", tmp_path / "s.html")[0] == 0
            assert call(folder, "--verify", "--out", tmp_path / "s.html")[0] == 0

    @pytest.mark.parametrize(
        ("before", "after", "where"),
        [
            ("aphid", "midge", "insects"),
            (">6<", ">60<", "counts-1"),
            ("The lot is held until", "The lot is decided", "decision"),
            ("A person answers for every flag", "Nobody answers for any flag", "the rest of the page"),
            ("0.929", "0.129", "counts-1"),
        ],
    )
    def test_a_changed_word_or_number(
        self, before: str, after: str, where: str, folder: Path, record: Path, call: Call
    ) -> None:
        self.change(record, before, after)
        assert f"this part is not what the folder gives: {where}." in self.differs(
            call(folder, "--verify", "--out", record)
        )

    def test_a_changed_basis(self, folder: Path, record: Path, call: Call) -> None:
        self.change(record, '"said": 6', '"said": 5')
        self.differs(call(folder, "--verify", "--out", record))

    def test_more_than_there_is(self, folder: Path, record: Path, call: Call) -> None:
        self.change(record, '"said": 6', '"said": 9')
        assert "Not there any more: answers 3." in self.differs(call(folder, "--verify", "--out", record))

    @pytest.mark.parametrize(
        ("before", "after"),
        [
            ('"said": 6', '"said": -6'),
            ('"said": 6', '"said": Infinity'),
            ('"said": 6', '"said": "six"'),
            ('"levels_of": ""', '"levels_of": ["x"]'),
            ('"levels_of": ""', '"levels_of": "moon cabbage"'),
            ('"paper": "a4"', '"paper": ["a4"]'),
            ('"paper": "a4"', '"paper": "a3"'),
            ('"on_day": "', '"on_day": "x'),
            ('"run": ', '"ran": '),
        ],
    )
    def test_a_basis_that_is_broken(self, before: str, after: str, folder: Path, record: Path, call: Call) -> None:
        self.change(record, before, after)
        assert "it has been changed" in refused(call(folder, "--verify", "--out", record))

    def test_a_lot_that_is_not_here(self, folder: Path, record: Path, call: Call) -> None:
        self.change(record, '"lot": "QH-12 (invented)"', '"lot": "QH-99"')
        assert "Nothing here belongs to lot QH-99 any more." in self.differs(call(folder, "--verify", "--out", record))

    def test_answers_that_came_after(self, folder: Path, record: Path, call: Call) -> None:
        people = people_on(*SHOTS)
        store = Store(sqlite_url(folder / STORE))
        store.add_answer(Answer(people.flags("water 1.jpg")[0], "insect", "Bo", token="later"))
        store.add_entry(_entry(LotOf(4)))
        store.close()
        code, out, _ = call(folder, "--verify", "--out", record)
        assert code == 0
        assert "Since it was made there came more: answers 1, entries 1. Make it again to have that in it." in out

    def test_answers_that_came_after_on_other_lots(self, folder: Path, record: Path, call: Call) -> None:
        store = Store(sqlite_url(folder / STORE))
        store.add_entry(_entry(LotOf(4), "another"))
        store.close()
        code, out, _ = call(folder, "--verify", "--out", record)
        assert code == 0
        assert "Since it was made there came more: entries 1. Nothing of that is about this lot." in out

    def test_a_row_that_was_changed_in_the_record(self, folder: Path, record: Path, call: Call) -> None:
        with sqlite3.connect(folder / STORE) as connection:
            for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
                connection.execute(f"DROP TRIGGER {name}")
            connection.execute("UPDATE answers SET kind = 'midge' WHERE kind = 'aphid'")
        connection.close()
        said = self.differs(call(folder, "--verify", "--out", record))
        assert "versions" in said
        assert "insects" in said

    def test_a_picture_that_was_exchanged(self, folder: Path, record: Path, call: Call) -> None:
        import numpy as np

        for path in (folder / "pictures").iterdir():
            path.write_bytes(encode_jpeg(np.zeros((160, 240, 3), np.uint8), 90))
        said = self.differs(call(folder, "--verify", "--out", record))
        assert "The cut pictures are not those that the photographs give" in said
        assert "2 copies of photographs missing or not as written: " in said

    def test_a_picture_in_the_page_that_was_exchanged(self, folder: Path, record: Path, call: Call) -> None:
        self.change(record, "data:image/jpeg;base64,", "data:image/jpeg;base64,AAAA")
        said = self.differs(call(folder, "--verify", "--out", record))
        assert "The cut pictures are not those that the photographs give; all words are." in said

    def test_a_picture_that_is_gone(self, folder: Path, tmp_path: Path, call: Call) -> None:
        gone = next(path for path in (folder / "pictures").iterdir() if "leaf" in path.name)
        gone.unlink()
        assert call(folder, "--out", tmp_path / "lot.html")[0] == 0
        assert "data:image/svg" in (tmp_path / "lot.html").read_text(encoding="utf-8")
        assert "1 copy of photographs missing" in self.differs(call(folder, "--verify", "--out", tmp_path / "lot.html"))

    def test_a_table_that_a_person_has_changed(self, folder: Path, record: Path, call: Call) -> None:
        (folder / "shots.csv").write_bytes(b"changed")
        told = json.loads((folder / RECORD).read_text(encoding="utf-8"))
        write_json(folder / RECORD, told | {"tables": {"shots": {"file": "shots.csv", "sha256": "0" * 64}}})
        assert "shots.csv is missing or not as the run wrote it" in self.differs(
            call(folder, "--verify", "--out", record)
        )

    def test_a_page_of_another_run(self, tmp_path: Path, record: Path, call: Call) -> None:
        self.change(record, '"run": "r0123456789ab"', '"run": "rffffffffffff"')
        assert "The record is of run rffffffffffff" in self.differs(call(tmp_path / "out", "--verify", "--out", record))

    def test_what_is_no_record(self, folder: Path, tmp_path: Path, call: Call) -> None:
        for name, data in (("a.html", b"<p>Hello</p>"), ("b.html", b"\xff\xfe\x00")):
            (tmp_path / name).write_bytes(data)
            assert "no record of a lot" in refused(call(folder, "--verify", "--out", tmp_path / name))
        assert call("--blank", "--out", tmp_path / "c.html")[0] == 0
        assert "no record of a lot" in refused(call(folder, "--verify", "--out", tmp_path / "c.html"))
        for name in ("lot.pdf", "lot.csv"):
            assert f"not {name}" in refused(call(folder, "--verify", "--out", tmp_path / name))

    def test_a_record_that_is_not_there(self, folder: Path, tmp_path: Path, call: Call) -> None:
        assert "gone.html: The file is not there." in refused(call(folder, "--verify", "--out", tmp_path / "gone.html"))


def _entry(value: Any, lot: str = LOT) -> Any:
    people = people_on(*SHOTS)
    people.enter(value, lot=lot)
    return people.heard.entries[0]


def _by_hand(value: Any) -> bool:
    """As many as anybody writes down: each is a find of its own."""
    return not isinstance(value, LateEntry) or all(found.most <= 200 for found in value.found)


SHELF = shelf_of(*SHOTS)
_ACTS = st.lists(
    st.tuples(st.just("answer"), st.integers(0, 4), st.sampled_from(["insect", "not_insect", "look_again", ""]))
    | st.tuples(st.just("enter"), ANY.filter(_by_hand), st.sampled_from([LOT, "other"]))
    | st.tuples(st.just("move"), st.integers(0, 1), st.sampled_from(["sample", "piece", "view", "lot"]))
    | st.tuples(st.just("add"), st.integers(0, 1), st.just("")),
    max_size=8,
)


def _do(people: People, acts: list[tuple[str, Any, str]]) -> None:
    specks = [speck for shot in SHELF.shots for speck in people.flags(shot.name)]
    for what, which, how in acts:
        if what == "answer":
            people.answer(specks[which], how)
        elif what == "enter":
            people.enter(which, lot=how)
        elif what == "move":
            people.enter(Correction(SHELF.shots[which].sha256, how, LOT if how == "lot" else "2"))
        else:
            people.add(SHELF.shots[which].name)


@given(before=_ACTS, after=_ACTS)
@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_a_record_is_had_again_whatever_came_after(before: list[Any], after: list[Any]) -> None:
    def page(heard: Any) -> str:
        lot = next(lot for lot in lots_of(SHELF, heard) if lot.photos)
        return page_of(lot, SHELF, heard, Wanted(date(2026, 3, 5)), sources_of(SHELF, heard), "a4")

    people = People(SHELF)
    _do(people, before)
    made, rows = page(people.heard), rows_of(people.heard)
    _do(people, after)
    assert what_differs(made, page(people.heard.first(rows))) == ()
    # What is read is told apart by its hash, as soon as there is more of it.
    more = rows_of(people.heard) != rows
    assert (hashes(SHELF, people.heard) != hashes(SHELF, people.heard.first(rows))) == more


def test_a_hash_is_of_every_word() -> None:
    people = People(SHELF)
    people.insect(people.flags("leaf 1.jpg")[0], note="אורית")
    one = hashes(SHELF, people.heard)
    people.acts[0] = Answer(people.flags("leaf 1.jpg")[0], "insect", "Ida", token="act-0")
    assert one != hashes(SHELF, people.heard)
    assert all(re.fullmatch("[0-9a-f]{64}", digest) for digest in one.values())
