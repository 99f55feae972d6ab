"""`speckwise report` as a command: what it writes, what it refuses with nothing written, and a record held to its folder. All invented."""

from __future__ import annotations

import io
import json
import re
import sqlite3
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lot_folder import LOT, People, Taken, people_on, shelf_of, write_lots
from made_entries import ANY
from made_rules import rule
from test_house import forbidden

from cli.batch.standing import RECORD
from cli.entry import run
from cli.lots.entries import Correction, LateEntry, LotOf, RuleGiven, Sampled
from cli.lots.gather import lots_of
from cli.lots.hear import rows_of
from cli.lots.record import Wanted
from cli.lots.record_page import what_differs
from cli.lots.report import hashes, page_of, sources_of
from cli.lots.rule_file import rule_text
from cli.review.answers import Answer
from cli.review.shelf import STORE
from cli.review.store import Store, sqlite_url
from faked import everything
from vision.files import encode_jpeg, write_json
from vision.words import WHO_DECIDES

SHOTS = (Taken("water 1.jpg", 3), Taken("leaf 1.jpg", 2, piece="1", view="underside", seed=4))
Call = Callable[..., tuple[int, str, str]]


@pytest.fixture
def call(capfd: pytest.CaptureFixture[str]) -> Call:
    """Runs a command line in this process: its exit code, and what it said."""

    def made(*words: object) -> tuple[int, str, str]:
        code = run(["report", *(str(word) for word in words)])
        said = capfd.readouterr()
        assert "Traceback" not in said.err
        assert forbidden(said.out + said.err) == []
        return code, said.out, said.err

    return made


def refused(outcome: tuple[int, str, str], code: int = 2) -> str:
    """The sentence of a call that was wrong."""
    assert outcome[:2] == (code, ""), outcome
    sentence = outcome[2]
    assert sentence.startswith("speckwise: ")
    assert sentence.strip().count("\n") == 0
    assert sentence.rstrip()[-1] in ".)"
    return sentence


def answered(folder: Path) -> People:
    """A folder of one lot, all flags answered, one insect, and what was entered, in its record."""
    write_lots(folder, *SHOTS)
    people = people_on(*SHOTS)
    people.answer_all()
    people.insect(people.flags("leaf 1.jpg")[0])
    people.look_at_all()
    people.enter(Sampled("1", 6, 250.0, "raw", on="2026-03-04"), RuleGiven(rule_text(rule())))
    people.keep(folder)
    return people


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    answered(tmp_path / "out")
    return tmp_path / "out"


class TestWritten:
    def test_a_page(self, folder: Path, tmp_path: Path, call: Call) -> None:
        out = tmp_path / "lot.html"
        code, said, err = call(folder, "--out", out)
        assert (code, err) == (0, "")
        assert said.splitlines() == [f"{out}: the record of lot {LOT}.", WHO_DECIDES]
        page = out.read_text(encoding="utf-8")
        assert f"Record of lot {LOT}" in page
        assert page.count("data:image/jpeg;base64,") == 1

    def test_the_same_call_writes_the_same_bytes(self, folder: Path, tmp_path: Path, call: Call) -> None:
        for name in ("a.html", "b.HTML"):
            assert call(folder, "--out", tmp_path / name)[0] == 0
        assert (tmp_path / "a.html").read_bytes() == (tmp_path / "b.HTML").read_bytes()

    def test_a_table(self, folder: Path, tmp_path: Path, call: Call) -> None:
        assert call(folder, "--out", tmp_path / "lot.csv")[0] == 0
        table = pd.read_csv(io.BytesIO((tmp_path / "lot.csv").read_bytes()), dtype=str, keep_default_na=False)
        assert "insect" in set(table["what"])

    def test_what_is_open_is_said_first(self, tmp_path: Path, call: Call) -> None:
        shots = [Taken(f"{k}.jpg", 1, reasons="Too dark." if k else "") for k in range(8)]
        write_lots(tmp_path / "out", *shots)
        code, said, _ = call(tmp_path / "out", "--out", tmp_path / "lot.html")
        assert code == 0
        assert said.splitlines()[1].startswith("8 flags that nobody has answered")
        assert said.splitlines()[-2:] == ["And 3 more (see the record).", WHO_DECIDES]

    def test_a_lot_by_its_name(self, tmp_path: Path, call: Call) -> None:
        write_lots(tmp_path / "out", Taken("a.jpg", lot="כרוב 1"), Taken("b.jpg", lot="B"), Taken("c.jpg", lot=""))
        for name in ("כרוב 1", "B", ""):
            assert call(tmp_path / "out", "--lot", name, "--out", tmp_path / "lot.html")[0] == 0
            # A name that runs right to left stands between isolates (UAX 9).
            shown = f"\u2068{name}\u2069" if name == "כרוב 1" else name
            title = f"Record of lot {shown or 'without a name'}"
            assert title in (tmp_path / "lot.html").read_text(encoding="utf-8")

    def test_for_the_supplier(self, folder: Path, tmp_path: Path, call: Call) -> None:
        assert call(folder, "--supplier", "--out", tmp_path / "s.html")[0] == 0
        page = (tmp_path / "s.html").read_text(encoding="utf-8")
        assert "Ida" not in page
        assert f"Finds in lot {LOT}" in page

    def test_with_defect_levels(self, folder: Path, tmp_path: Path, call: Call) -> None:
        assert call(folder, "--defect-levels", "Broccoli", "--out", tmp_path / "d.html")[0] == 0
        assert "FDA may act on broccoli" in (tmp_path / "d.html").read_text(encoding="utf-8")

    def test_on_letter_paper(self, folder: Path, tmp_path: Path, call: Call) -> None:
        assert call(folder, "--paper", "letter", "--out", tmp_path / "l.html")[0] == 0
        assert "size: letter" in (tmp_path / "l.html").read_text(encoding="utf-8")

    def test_the_empty_page(self, tmp_path: Path, call: Call) -> None:
        assert call("--blank", "--out", tmp_path / "blank.html")[0] == 0
        assert "write 0" in (tmp_path / "blank.html").read_text(encoding="utf-8")

    def test_over_a_season(self, folder: Path, tmp_path: Path, call: Call) -> None:
        code, said, _ = call(folder, "--since", "2026-03-01", "--until", "2026-03-31", "--out", tmp_path / "s.html")
        assert code == 0
        assert "1 lot, first checked from 2026-03-01 to 2026-03-31." in said
        # The same folder named twice holds the same lot.
        code, said, _ = call(
            folder, folder, "--since", "2026-03-01", "--until", "2026-03-31", "--out", tmp_path / "s.html"
        )
        assert "1 lot, first" in said

    def test_a_season_ends_today(self, folder: Path, tmp_path: Path, call: Call) -> None:
        today = date.today().isoformat()
        assert f"to {today}" in call(folder, "--since", today, "--out", tmp_path / "s.html")[1] + (
            tmp_path / "s.html"
        ).read_text(encoding="utf-8")

    def test_answers_of_a_named_record(self, tmp_path: Path, call: Call) -> None:
        write_lots(tmp_path / "out", *SHOTS)
        people = people_on(*SHOTS)
        people.insect(people.flags("water 1.jpg")[0], kind="midge")
        people.enter(LotOf(4), lot="a lot of another folder")
        store = tmp_path / "kept.sqlite"
        people.keep_in(Store(sqlite_url(store)), tmp_path)
        assert call(tmp_path / "out", "--store", sqlite_url(store), "--out", tmp_path / "lot.html")[0] == 0
        assert "midge" in (tmp_path / "lot.html").read_text(encoding="utf-8")

    def test_nobody_has_answered_yet_and_nothing_is_made_in_the_folder(self, tmp_path: Path, call: Call) -> None:
        folder = write_lots(tmp_path / "out", *SHOTS)
        before = everything(folder)
        for words in ([], ["--verify"]):
            assert call(folder, "--out", tmp_path / "lot.html", *words)[0] == 0
        assert call(folder, "--since", "2026-03-01", "--out", tmp_path / "season.html")[0] == 0
        assert everything(folder) == before

    def test_a_lot_that_was_only_entered(self, folder: Path, tmp_path: Path, call: Call) -> None:
        people = People(shelf_of(*SHOTS))
        people.enter(LateEntry("1", 4, (), "2026-03-04T07:00:00+01:00", "Bo"), lot="by hand")
        people.acts = [people.acts[0]]
        store = Store(sqlite_url(folder / STORE))
        store.add_entry(people.heard.entries[0])
        store.close()
        assert call(folder, "--lot", "by hand", "--out", tmp_path / "lot.html")[0] == 0
        # It has no photograph here, so the other one needs no name.
        assert f"the record of lot {LOT}" in call(folder, "--out", tmp_path / "lot.html")[1]


class TestRefused:
    @pytest.mark.parametrize(
        ("words", "sentence"),
        [
            ([], "DIR is missing"),
            (["DIR", "DIR"], "one DIR; several go with --since"),
            (["DIR", "--until", "2026-03-01"], "--until goes with --since"),
            (["DIR", "--since", "March"], "--since is a day, YYYY-MM-DD, not March"),
            (["DIR", "--since", "2026-03-01", "--until", "2026-02-30"], "--until is a day"),
            (["DIR", "--since", "2026-03-02", "--until", "2026-03-01"], "exchange them"),
            (["DIR", "--since", "2026-03-02", "--lot", "A"], "--lot is about one lot"),
            (["DIR", "--since", "2026-03-02", "--verify"], "--verify is about one lot"),
            (["DIR", "--since", "2026-03-02", "--supplier"], "--supplier is about one lot"),
            (["DIR", "--verify", "--lot", "A"], "no other option but --store"),
            (["DIR", "--verify", "--supplier"], "no other option but --store"),
            (["DIR", "--supplier", "--defect-levels", "broccoli"], "leave one of them out"),
            (["DIR", "--blank"], "--blank is an empty page"),
            (["--blank", "--store", "sqlite:////x"], "--blank is an empty page"),
            (["--blank", "--since", "2026-03-01"], "--blank is an empty page"),
            (["DIR", "--paper", "a3"], "--paper is a4 or letter, not a3"),
            (["DIR", "--store", ""], "--store is empty"),
            (["DIR", "--store", "sqlite:////nowhere/at/all.sqlite"], "is not there"),
            (["DIR", "--lot", "Z"], "There is no lot 'Z' here, but 'QH-12 (invented)'"),
            (["DIR", "--defect-levels", "moon cabbage"], "has no level here for 'moon cabbage'"),
            (["nowhere"], "nowhere is not there"),
        ],
    )
    def test_a_wrong_call(self, words: list[str], sentence: str, folder: Path, tmp_path: Path, call: Call) -> None:
        out = tmp_path / "lot.html"
        before = everything(folder)
        given = [str(folder) if word == "DIR" else word for word in words]
        assert sentence in refused(call(*given, "--out", out))
        assert not out.exists()
        assert everything(folder) == before

    def test_no_out(self, folder: Path, call: Call) -> None:
        assert "--out" in refused(call(folder))

    @pytest.mark.parametrize("name", ["lot.txt", "lot", "lot.html.gz"])
    def test_an_ending_that_is_none(self, name: str, folder: Path, tmp_path: Path, call: Call) -> None:
        assert "--out ends in" in refused(call(folder, "--out", tmp_path / name))
        assert "--out ends in" in refused(call("--blank", "--out", tmp_path / name))
        assert "--out ends in" in refused(call(folder, "--since", "2026-03-01", "--out", tmp_path / "season.csv"))

    def test_a_place_that_is_none(self, folder: Path, tmp_path: Path, call: Call) -> None:
        (tmp_path / "dir.html").mkdir()
        for words in ([folder], ["--blank"], [folder, "--since", "2026-03-01"]):
            assert "is a folder" in refused(call(*words, "--out", tmp_path / "dir.html"))
            assert "is not there" in refused(call(*words, "--out", tmp_path / "no" / "lot.html"))

    @pytest.mark.parametrize("name", ["shots.csv", "candidates.csv", "candidates-r0.csv", "index.html", "now.html"])
    def test_a_file_of_the_run(self, name: str, folder: Path, call: Call) -> None:
        (folder / name).write_text("the run's own", encoding="utf-8")
        assert "give --out another name" in refused(call(folder, "--out", folder / name))
        assert (folder / name).read_text(encoding="utf-8") == "the run's own"
        assert call(folder, "--out", folder / "lot.html")[0] == 0

    def test_a_place_that_cannot_be_written(self, folder: Path, tmp_path: Path, call: Call) -> None:
        refused(call(folder, "--out", tmp_path / f"{'a' * 300}.html"), 3)

    def test_defect_levels_in_a_table(self, folder: Path, tmp_path: Path, call: Call) -> None:
        words = ("--defect-levels", "broccoli", "--out", tmp_path / "lot.csv")
        assert "not with a .csv" in refused(call(folder, *words))

    def test_several_lots(self, tmp_path: Path, call: Call) -> None:
        write_lots(tmp_path / "out", *(Taken(f"{k}.jpg", 0, lot=f"L{k:02d}") for k in range(12)))
        sentence = refused(call(tmp_path / "out", "--out", tmp_path / "lot.html"))
        assert "There are 12 lots here, so say which: --lot 'L00'" in sentence
        assert "and 2 more" in sentence

    def test_a_folder_where_nothing_could_be_read(self, tmp_path: Path, call: Call) -> None:
        write_lots(tmp_path / "out", failed={"a.jpg": "The file is empty."})
        assert "there is no lot to tell of" in refused(call(tmp_path / "out", "--out", tmp_path / "lot.html"))

    def test_a_folder_that_was_not_scored(self, tmp_path: Path, call: Call) -> None:
        assert "no folder that `speckwise score` has written" in refused(call(tmp_path, "--out", tmp_path / "lot.html"))


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


SHELF = shelf_of(*SHOTS)
_ACTS = st.lists(
    st.tuples(st.just("answer"), st.integers(0, 4), st.sampled_from(["insect", "not_insect", "look_again", ""]))
    | st.tuples(st.just("enter"), ANY.filter(lambda v: not isinstance(v, LateEntry)), st.sampled_from([LOT, "other"]))
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


def test_the_bench_says_seconds_of_page_table_and_verify(capsys: pytest.CaptureFixture[str]) -> None:
    import report

    report.main(2)
    said = capsys.readouterr().out.splitlines()
    assert said[0] == "20 photographs, 80 answers, 4 of them insects"
    assert [line.split(":")[0] for line in said[1:]] == ["page", "table", "--verify"]
