"""The ledger: what stands of each shot, on disk before it counts, and found again by file, by name and by bytes."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cli.batch.ledger import Entry, Ledger
from cli.batch.sources import FileFacts
from vision.errors import DiskFull
from vision.table import Belonging, ShotFacts, shot_row

RUN = "r0123456789ab"


def entry(
    shot: str, sha256: str = "", path: str = "", error: str = "", duplicate_of: str = "", run: str = RUN
) -> Entry:
    facts = ShotFacts(Belonging(shot, run), sha256, None, error=error, duplicate_of=duplicate_of)
    changed = f"{len(sha256)}7"
    return Entry(
        run, shot, sha256, 3, path or f"/in/{shot}", shot_row(facts), [], [], 0.5, error, duplicate_of, changed=changed
    )


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    made = Ledger(tmp_path / "ledger", RUN)
    yield made
    made.close()


def shots(ledger: Ledger) -> list[tuple[str, str]]:
    return [(each.shot, each.sha256) for each in ledger]


class TestWhatStands:
    def test_nothing_is_written_before_there_is_something(self, tmp_path: Path) -> None:
        assert list(Ledger(tmp_path / "ledger", RUN)) == []
        assert list(tmp_path.iterdir()) == []

    def test_is_read_back_as_it_was_put_down(self, tmp_path: Path, ledger: Ledger) -> None:
        whole = replace(
            entry("é \U0001f41b.jpg", "aa"),
            candidates=[["a", '"', "\n"], ["'=1", "", "x"]],
            files=["pictures/a.jpg", "pages/a-small.jpg"],
            left_out=3,
            digests={"pictures/a.jpg": "ff"},
            facts={"supplier": "Löwe", "pieces_seen": "3"},
            said=["lot: manifest.csv says A, the folders say B."],
            code={"lot": "A"},
            belongs="0123456789abcdef",
        )
        ledger.add(whole)
        assert list(Ledger(tmp_path / "ledger", RUN)) == [replace(whole, files=sorted(whole.files))]

    def test_comes_in_the_order_of_the_tables_whatever_the_order_of_work(self, ledger: Ledger) -> None:
        names = ["b.jpg", "a.jpg", "Z.jpg", "é.jpg", "a/b.jpg", "a b.jpg", "\U0001f41b.jpg", "\uffff.jpg"]
        for name in names:
            ledger.add(entry(name, "aa" + name))
        assert [shot for shot, _ in shots(ledger)] == sorted(names)

    def test_another_run_in_the_same_file_is_not_seen(self, tmp_path: Path, ledger: Ledger) -> None:
        ledger.add(entry("a.jpg", "aa"))
        other = Ledger(tmp_path / "ledger", "rother")
        assert (len(ledger), len(other)) == (1, 0)
        assert other.of_bytes("a.jpg", "aa") is None
        assert other.first_with("aa") is None
        assert list(other) == []

    def test_a_second_reader_sees_it_at_once(self, tmp_path: Path, ledger: Ledger) -> None:
        ledger.add(entry("a.jpg", "aa"))
        reader = Ledger(tmp_path / "ledger", RUN)
        ledger.add(entry("b.jpg", "bb"))
        assert [shot for shot, _ in shots(reader)] == ["a.jpg", "b.jpg"]


class TestWhatGivesWay:
    def test_the_same_file_with_other_bytes(self, ledger: Ledger) -> None:
        ledger.add(entry("a.jpg", "aa"))
        ledger.add(entry("a.jpg", "bb"))
        assert shots(ledger) == [("a.jpg", "bb")]
        assert len(ledger) == 1

    def test_the_same_bytes_from_another_place(self, ledger: Ledger) -> None:
        ledger.add(entry("a.jpg", "aa", "/monday/a.jpg"))
        ledger.add(entry("a.jpg", "aa", "/tuesday/a.jpg"))
        assert shots(ledger) == [("a.jpg", "aa")]

    def test_not_another_photograph_of_the_same_name(self, ledger: Ledger) -> None:
        ledger.add(entry("1.jpg", "aa", "/monday/1.jpg"))
        ledger.add(entry("1.jpg", "bb", "/tuesday/1.jpg"))
        assert shots(ledger) == [("1.jpg", "aa"), ("1.jpg", "bb")]
        assert len(ledger) == 2

    def test_not_two_that_could_not_be_read(self, ledger: Ledger) -> None:
        ledger.add(entry("1.jpg", "", "/monday/1.jpg", error="No."))
        ledger.add(entry("1.jpg", "", "/tuesday/1.jpg", error="No."))
        assert len(shots(ledger)) == len(ledger) == 2

    @settings(deadline=None, max_examples=30)  # every entry is flushed to a real disk
    @given(
        st.lists(
            st.tuples(st.sampled_from("ab"), st.sampled_from(["", "x", "y"]), st.sampled_from(["/1", "/2"])),
            max_size=12,
        )
    )
    def test_the_count_is_the_number_of_rows(self, tmp_path_factory: pytest.TempPathFactory, adds: list) -> None:
        path = tmp_path_factory.mktemp("ledgers") / "ledger"
        ledger = Ledger(path, RUN)
        for shot, sha256, place in adds:
            ledger.add(entry(shot, sha256, place + shot))
            assert len(ledger) == len(list(ledger)) == len(Ledger(path, RUN))
        ledger.close()


class TestWhatIsFound:
    def test_by_file_with_the_facts_it_had(self, ledger: Ledger) -> None:
        ledger.add(entry("a.jpg", "aa"))
        stood = ledger.of_file("a.jpg", "/in/a.jpg")
        assert stood is not None
        assert stood.facts == FileFacts(3, "27")
        assert ledger.of_file("a.jpg", "/elsewhere/a.jpg") is None
        ledger.touch("a.jpg", "aa", "/elsewhere/a.jpg", FileFacts(3, "99"))
        found = ledger.of_file("a.jpg", "/elsewhere/a.jpg")
        assert found is not None
        assert found.facts.changed == "99"

    def test_the_first_with_some_bytes_is_no_twin_and_no_failure(self, ledger: Ledger) -> None:
        ledger.add(entry("a.jpg", "aa", duplicate_of="c.jpg"))
        ledger.add(entry("b.jpg", "aa", error="No."))
        assert ledger.first_with("aa") is None
        ledger.add(entry("d.jpg", "aa"))
        ledger.add(entry("c.jpg", "aa"))
        first = ledger.first_with("aa")
        assert first is not None
        assert first.shot == "c.jpg"

    def test_failures_and_what_is_told(self, ledger: Ledger) -> None:
        ledger.add(entry("a.jpg", "aa"))
        ledger.add(entry("b.jpg", "bb", error="It is empty."))
        assert ledger.failures() == [("b.jpg", "It is empty.")]
        assert [told.error for told in ledger.told()] == ["", "It is empty."]
        ledger.forget("b.jpg", "/in/b.jpg")
        assert ledger.failures() == []
        assert len(ledger) == 1


def test_a_full_disk_is_said_and_what_stood_stands(tmp_path: Path, ledger: Ledger) -> None:
    ledger.add(entry("a.jpg", "aa"))
    assert ledger._db is not None
    # SQLite's own means of making its disk full: no page more than there are.
    (pages,) = ledger._db.execute("PRAGMA page_count").fetchone()
    ledger._db.execute(f"PRAGMA max_page_count = {pages}")
    large = [replace(entry(f"b{n}.jpg", f"b{n}"), candidates=[["x" * 9000]]) for n in range(99)]
    with pytest.raises(DiskFull, match="The disk is full"):
        list(map(ledger.add, large))
    stand = shots(ledger)
    assert stand[0] == ("a.jpg", "aa")
    assert len(ledger) == len(stand) == len(list(Ledger(tmp_path / "ledger", RUN)))
    # The standard library's own reader finds the file whole.
    with sqlite3.connect(tmp_path / "ledger") as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
