"""What belongs to what through whole calls: manifests that are faulty or change, words against words, twins, the record, watching."""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scored_folder import RUN as MADE_RUN
from scored_folder import Made, write_folder
from watching_folder import ByHand, Watching, data

import cli.batch.arrivals
import cli.batch.manifests
import cli.shot
from calib.reading import Told
from calib.slip.view import SlipText
from cli.batch.ledger import Entry, Ledger
from cli.batch.manifest import ManifestFaults
from cli.batch.sources import Claims, Photograph
from cli.batch.standing import LEDGER
from cli.entry import run
from cli.review.shelf import named, read_shelf
from cli.shot import Outcome, Settings, score_shot
from faked import RUN, call, fake_scoring, go, photographs, record, scorer, shot_cells
from vision.complete import Complete
from vision.files import encode_jpeg
from vision.rank import shipped_ranker
from vision.table import SHOTS
from vision.types import Cut

Say = pytest.CaptureFixture[str]


def entries(out: Path) -> dict[str, Entry]:
    """What stands of each shot."""
    ledger = Ledger(out / LEDGER, RUN)
    try:
        return {entry.shot: entry for entry in ledger}
    finally:
        ledger.close()


def manifest(folder: Path, text: str) -> None:
    """Writes it, at another time than any before."""
    place = folder / "manifest.csv"
    later = place.stat().st_mtime_ns + 10**9 if place.exists() else None
    place.write_text(text, encoding="utf-8")
    if later:
        os.utime(place, ns=(later, later))


@pytest.fixture
def two(tmp_path: Path) -> Path:
    """A folder of two photographs."""
    return photographs(tmp_path / "in", a=b"xx", c=b"x0")


class TestScoring:
    def test_rows_fill_tables_and_ledger(self, two: Path, out: Path) -> None:
        manifest(two, "shot,lot,sample,view,supplier,grams,grams_are\na.jpg,L7,1,water,Quillmere,250,raw\n")
        go(out, two)
        assert shot_cells(out, "lot") == {"a.jpg": "L7", "c.jpg": ""}
        assert shot_cells(out, "view") == {"a.jpg": "water", "c.jpg": ""}
        assert entries(out)["a.jpg"].facts == {"supplier": "Quillmere", "grams": "250", "grams_are": "raw"}
        assert entries(out)["c.jpg"].facts == {}

    def test_folders_say_what_no_manifest_does(self, tmp_path: Path, out: Path) -> None:
        photographs(tmp_path / "in" / "L7" / "2" / "waters", a=b"xx")
        go(out, tmp_path / "in")
        assert shot_cells(out, "lot") == {"L7/2/waters/a.jpg": "L7"}
        assert shot_cells(out, "view") == {"L7/2/waters/a.jpg": "water"}

    def test_words_against_words_stay_empty_and_are_said(self, tmp_path: Path, out: Path) -> None:
        photographs(tmp_path / "in" / "L7" / "2" / "water", a=b"xx")
        manifest(tmp_path / "in", "shot,lot,sample\nL7/2/water/a.jpg,L8,2\n")
        tally, _ = go(out, tmp_path / "in")
        sentence = "lot: manifest.csv says L8, the folders say L7."
        (entry,) = entries(out).values()
        assert entry.said == [sentence]
        assert shot_cells(out, "lot") == {"L7/2/water/a.jpg": ""}
        assert shot_cells(out, "reasons") == {"L7/2/water/a.jpg": ""}
        assert any(
            "different things of 1 shot" in line and "L7/2/water/a.jpg" in line for line in tally.closing_lines()
        )
        assert record(out)["counts"]["contradicted"] == 1
        logged = [json.loads(line) for line in (out / "log.jsonl").read_text().splitlines()]
        assert [line["said"] for line in logged if line["event"] == "shot"] == [sentence]
        kept, _ = go(out, tmp_path / "in")
        assert kept.contradicted == kept.kept == 1

    def test_what_has_no_counterpart_is_said_and_no_error(self, two: Path, out: Path) -> None:
        manifest(two, "shot,lot\na.jpg,L7\n" + "".join(f"gone {n}.jpg,L7\n" for n in range(7)))
        tally, _ = go(out, two)
        lines = tally.closing_lines()
        assert (
            "7 rows of manifest.csv name no photograph of this call: gone 0.jpg, gone 1.jpg, gone 2.jpg, gone 3.jpg, "
            "gone 4.jpg and 2 more." in lines
        )
        assert "1 photograph is not named in manifest.csv." in lines
        assert tally.is_whole
        assert not any(
            "manifest" in line
            for line in go(out.parent / "o2", photographs(out.parent / "x", a=b"x"))[0].closing_lines()
        )

    def test_of_two_paths_each_has_its_own(self, tmp_path: Path, out: Path) -> None:
        for number in "12":
            manifest(photographs(tmp_path / number, a=b"x" + number.encode()), f"shot,lot\na.jpg,L{number}\n")
        go(out, tmp_path / "1", tmp_path / "2")
        assert shot_cells(out, "lot") == {"1:a.jpg": "L1", "2:a.jpg": "L2"}
        assert len(set(record(out)["manifests_sha256"])) == 2

    def test_of_a_file_the_one_beside_it_counts(self, two: Path, out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        manifest(two, "shot,lot\na.jpg,L7\nc.jpg,L8\n")
        monkeypatch.chdir(two)
        tally, _ = go(out, "a.jpg", two / "c.jpg")
        assert shot_cells(out, "lot") == {"1:a.jpg": "L7", "2:c.jpg": "L8"}
        assert not any("manifest" in line for line in tally.closing_lines())


class TestChanged:
    def test_only_what_it_says_something_else_of_is_scored_again(self, two: Path, out: Path) -> None:
        manifest(two, "shot,lot,checker\na.jpg,L7,Ada\nc.jpg,L7,Ada\n")
        go(out, two)
        scored: list[str] = []
        go(out, two, score=scorer(scored=scored))
        assert scored == []
        manifest(two, "shot,lot,checker\nc.jpg,L7,Ada\na.jpg,L8,Ada\n")
        go(out, two, score=scorer(scored=scored))
        assert scored == ["a.jpg"]
        assert shot_cells(out, "lot") == {"a.jpg": "L8", "c.jpg": "L7"}
        (two / "manifest.csv").unlink()
        go(out, two, rehash=True, score=scorer(scored=scored))
        assert scored == ["a.jpg", "a.jpg", "c.jpg"]
        assert shot_cells(out, "lot") == {"a.jpg": "", "c.jpg": ""}

    def test_twins_carry_their_own(self, tmp_path: Path, out: Path) -> None:
        twins = photographs(tmp_path / "in", a=b"xx", b=b"xx")
        manifest(twins, "shot,lot,supplier\na.jpg,L7,\nb.jpg,L8,Quillmere\n")
        go(out, twins)
        assert shot_cells(out, "lot") == {"a.jpg": "L7", "b.jpg": "L8"}
        assert shot_cells(out, "duplicate_of") == {"a.jpg": "", "b.jpg": "a.jpg"}
        assert entries(out)["b.jpg"].facts == {"supplier": "Quillmere"}
        manifest(twins, "shot,lot,supplier\na.jpg,L7,\nb.jpg,L9,Quillmere\n")
        scored: list[str] = []
        go(out, twins, score=scorer(scored=scored))
        assert scored == []
        assert shot_cells(out, "lot") == {"a.jpg": "L7", "b.jpg": "L9"}

    def test_twins_carry_the_code_of_their_slip(self, tmp_path: Path, out: Path) -> None:
        plain = scorer()
        twins = photographs(tmp_path / "in", a=b"xx", b=b"xx")
        manifest(twins, "shot,lot\nb.jpg,L8\n")
        go(out, twins, score=lambda photograph: replace(plain(photograph), code={"lot": "L7", "sample": "1"}))
        assert entries(out)["b.jpg"].said == ["lot: the code on the slip says L7, manifest.csv says L8."]
        assert shot_cells(out, "sample")["b.jpg"] == "1"

    def test_a_ledger_from_before_there_were_manifests_opens(self, two: Path, out: Path) -> None:
        go(out, two)
        with sqlite3.connect(out / LEDGER) as db:
            db.execute("ALTER TABLE shots DROP COLUMN belongs")
            db.execute("UPDATE shots SET rest = json_remove(rest, '$.facts', '$.said', '$.code')")
            db.execute("UPDATE shots SET told = json_remove(told, '$.said')")
        db.close()
        scored: list[str] = []
        tally, _ = go(out, two, score=scorer(scored=scored))
        assert scored == []
        assert tally.kept == 2
        assert entries(out)["a.jpg"].facts == {}


class TestFaulty:
    def test_makes_the_call_wrong_and_writes_nothing(
        self, two: Path, out: Path, capsys: Say, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        fake_scoring(monkeypatch)
        manifest(two, "shot,view,grams\na.jpg,wter,\nb.jpg,,3\n")
        for command in (["score", str(two)], ["watch", str(two)]):
            assert run([*command, "--out", str(out)]) == 2
            said = capsys.readouterr().err
            assert "2 faults in manifest.csv, so it is not used." in said
            assert "manifest.csv, row 2: there is no view “wter”" in said
            assert "manifest.csv, row 3: grams stand without" in said
            assert not out.exists()

    def test_those_of_all_paths_are_named_together(self, tmp_path: Path, out: Path) -> None:
        for number in "12":
            manifest(photographs(tmp_path / number, a=b"x" + number.encode()), "shot,view\na.jpg,no\n")
        with pytest.raises(ManifestFaults) as caught:
            go(out, tmp_path / "1", tmp_path / "2")
        assert [fault[:22] for fault in caught.value.faults] == ["1:manifest.csv, row 2:", "2:manifest.csv, row 2:"]

    def test_one_that_cannot_be_read_makes_it_wrong_too(
        self, two: Path, out: Path, capsys: Say, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        fake_scoring(monkeypatch)
        (two / "manifest.csv").touch()
        assert run(["score", str(two), "--out", str(out)]) == 2
        assert "manifest.csv can't be used: The file is empty." in capsys.readouterr().err


class TestAgain:
    def test_says_that_the_manifest_is_another(
        self, two: Path, out: Path, capsys: Say, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        fake_scoring(monkeypatch)
        manifest(two, "shot,lot\na.jpg,L7\n")
        assert run(["score", str(two), "--out", str(out)]) == 0
        assert run(["score", "--again", str(out / "run.json")]) == 0
        said = capsys.readouterr().out
        assert "manifest.csv is not the one" not in said
        assert "The tables agree byte for byte." in said
        manifest(two, "shot,lot\na.jpg,L8\n")
        assert run(["score", "--again", str(out / "run.json")]) == 1
        assert "The manifest.csv is not the one of then." in capsys.readouterr().out
        (two / "manifest.csv").unlink()
        assert run(["score", "--again", str(out / "run.json")]) == 1
        assert "The manifest.csv is not the one of then." in capsys.readouterr().out


class TestWatching:
    @pytest.fixture(autouse=True)
    def hurried(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Files are calm soon."""
        monkeypatch.setattr(cli.batch.arrivals, "LOOK_EVERY_S", 0.02)
        monkeypatch.setattr(cli.batch.arrivals, "CALM_S", 0.05)
        monkeypatch.setattr(cli.batch.manifests, "CALM_S", 0.1)
        for kind in (Complete.YES, Complete.UNSURE):
            monkeypatch.setitem(cli.batch.arrivals._STANDS_S, kind, 0.05)

    def test_a_manifest_may_come_change_break_and_go(self, tmp_path: Path, out: Path, capsys: Say) -> None:
        arriving = tmp_path / "in"
        arriving.mkdir()
        scored: list[str] = []
        watching = Watching(arriving, out, scorer(scored=scored), scored=scored)

        def lot_is(shot: str, lot: str) -> bool:
            found = entries(out)
            return shot in found and found[shot].row[3] == lot

        def script(watched: Watching) -> Iterator[None]:
            watched.put("a.jpg", data(2))
            watched.put("b.jpg", data(1))
            yield from watched.until_told("a.jpg", "b.jpg")
            manifest(arriving, "shot,lot\na.jpg,L7\n")
            yield from watched.until(lambda: lot_is("a.jpg", "L7"))
            manifest(arriving, "shot,lot,view\na.jpg,L8,wter\n")
            yield from watched.for_some_time(0.5)
            watched.put("c.jpg", data(3))
            yield from watched.until_told("c.jpg")
            assert lot_is("a.jpg", "L7")
            manifest(arriving, "shot,lot\na.jpg,L8\nc.jpg,L9\n")
            yield from watched.until(lambda: lot_is("a.jpg", "L8") and lot_is("c.jpg", "L9"))
            (arriving / "manifest.csv").unlink()
            yield from watched.for_some_time(0.3)
            watched.put("d.jpg", data(4))
            yield from watched.until_told("d.jpg")
            assert lot_is("a.jpg", "L8")

        watching.run(script)
        assert sorted(scored) == ["a.jpg", "a.jpg", "a.jpg", "b.jpg", "c.jpg", "c.jpg", "d.jpg"]
        said = capsys.readouterr().err
        assert said.count("manifest.csv, row 2: there is no view “wter”") == 1
        assert "What it said before still counts." in said
        assert len(record(out)["manifests_sha256"]) == 1

    def test_what_is_scored_when_it_changes_is_scored_once_more(self, tmp_path: Path, out: Path) -> None:
        arriving = tmp_path / "in"
        arriving.mkdir()
        scored: list[str] = []
        watching = Watching(arriving, out, scorer(scored=scored), make_engine=ByHand, scored=scored)

        def script(watched: Watching) -> Iterator[None]:
            watched.put("a.jpg", data(2))
            yield from watched.until(lambda: watched.engine is not None and len(watched.engine.in_hand) == 1)
            manifest(arriving, "shot,lot\na.jpg,L7\n")
            yield from watched.for_some_time(0.5)
            assert watched.engine is not None
            watched.engine.end_one()
            yield from watched.until(lambda: watched.engine is not None and len(watched.engine.in_hand) == 1)
            watched.engine.end_one()
            yield from watched.until(lambda: "a.jpg" in entries(out) and entries(out)["a.jpg"].row[3] == "L7")

        watching.run(script)
        assert scored == ["a.jpg", "a.jpg"]

    def test_words_against_words_are_said_at_once(self, tmp_path: Path, out: Path, capsys: Say) -> None:
        arriving = tmp_path / "in"
        arriving.mkdir()
        manifest(arriving, "shot,view\n" + "L7/2/water/a.jpg,cloth\n")
        (arriving / "L7" / "2").mkdir(parents=True)
        watching = Watching(arriving, out, scorer())

        def script(watched: Watching) -> Iterator[None]:
            watched.put("L7/2/water/a.jpg", data(2))
            yield from watched.until_told("L7/2/water/a.jpg")

        watching.run(script)
        assert "L7/2/water/a.jpg: view: manifest.csv says cloth, the folders say water." in capsys.readouterr().err


class TestTheSlip:
    """The code in the shot itself is read where the shot is scored."""

    def scored(self, monkeypatch: pytest.MonkeyPatch, text: SlipText, claims: Claims) -> Outcome:
        read = cli.shot.read_setup
        monkeypatch.setattr(cli.shot, "read_setup", lambda *given: replace(read(*given), text=text))
        grey = np.full((120, 160, 3), 200, np.uint8)
        settings = Settings(RUN, shipped_ranker(), Cut(), Told())
        return score_shot(Photograph("a.jpg", "0" * 64, encode_jpeg(grey, 95), claims), settings)

    def test_goes_first_and_is_held_against_the_manifest(self, monkeypatch: pytest.MonkeyPatch) -> None:
        claims = Claims({"lot": "Q-13", "sample": "1", "produce": "Broccoli", "piece": "3"})
        outcome = self.scored(monkeypatch, SlipText("Q-12", "1", "broccoli", ""), claims)
        row = named(SHOTS, outcome.shot_row)
        assert (row["lot"], row["sample"], row["piece"], row["produce"]) == ("", "1", "3", "broccoli")
        assert outcome.said == ("lot: the code on the slip says Q-12, manifest.csv says Q-13.",)
        assert outcome.code == {"lot": "Q-12", "sample": "1", "produce": "broccoli"}
        assert "says" not in row["reasons"]

    def test_produce_against_produce_chooses_no_guide(self, monkeypatch: pytest.MonkeyPatch) -> None:
        outcome = self.scored(monkeypatch, SlipText(produce="broccoli"), Claims({"produce": "cauliflower"}))
        assert named(SHOTS, outcome.shot_row)["produce"] == ""
        assert "produce" not in outcome.facts
        assert outcome.said == ("produce: the code on the slip says broccoli, manifest.csv says cauliflower.",)


def test_the_desk_gets_facts_and_what_was_said(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "out", [Made("a.jpg"), Made("b.jpg", seed=1)])
    ledger = Ledger(folder / LEDGER, MADE_RUN)
    first = next(iter(ledger))
    ledger.add(replace(first, facts={"supplier": "Lower Field"}, said=["lot: this says A, that says B."]))
    ledger.close()
    one, other = read_shelf(folder).shots
    assert (one.facts, one.said) == ({"supplier": "Lower Field"}, ("lot: this says A, that says B.",))
    assert (other.facts, other.said) == ({}, ())


def test_a_call_without_manifests_says_so_in_the_record(two: Path, out: Path) -> None:
    go(out, two)
    assert record(out)["manifests_sha256"] == [None]
    assert call(scorer()).manifests.digests == []


class TestNotFound:
    """What a manifest names and no photograph is there for, as the record of a lot hears of it."""

    def test_a_folder_that_was_given_whole(self, two: Path, out: Path) -> None:
        manifest(two, "shot,lot\na.jpg,L-1\nb.jpg,L-1\nL-2/1/water/e.jpg,\nd.jpg,\n")
        go(out, two)
        assert record(out)["not_found"] == {"b.jpg": "L-1", "L-2/1/water/e.jpg": "L-2", "d.jpg": ""}

    def test_a_photograph_that_was_given_by_itself_says_nothing_of_the_others(self, two: Path, out: Path) -> None:
        manifest(two, "shot,lot\na.jpg,L-1\nc.jpg,L-1\n")
        go(out, two / "a.jpg")
        assert record(out)["not_found"] == {}

    def test_a_later_call_on_one_photograph_takes_back_nothing(self, two: Path, out: Path) -> None:
        manifest(two, "shot,lot\na.jpg,L-1\nb.jpg,L-1\n")
        go(out, two)
        go(out, two / "a.jpg")
        assert record(out)["not_found"] == {"b.jpg": "L-1"}
        manifest(two, "shot,lot\na.jpg,L-1\n")
        go(out, two)
        assert record(out)["not_found"] == {}

    def test_of_several_folders_each_has_its_own(self, tmp_path: Path, out: Path) -> None:
        one, other = photographs(tmp_path / "one", a=b"xx"), photographs(tmp_path / "other", c=b"x0")
        for folder in (one, other):
            manifest(folder, "shot,lot\na.jpg,L-1\nc.jpg,L-2\n")
        go(out, one, other)
        assert record(out)["not_found"] == {"1:c.jpg": "L-2", "2:a.jpg": "L-1"}

    def test_a_run_that_was_stopped_is_told(self, tmp_path: Path) -> None:
        folder = write_folder(tmp_path / "scored", [Made("a.jpg")])
        told = json.loads((folder / "run.json").read_text(encoding="utf-8"))
        (folder / "run.json").write_text(json.dumps(told | {"finished": False}), encoding="utf-8")
        assert not read_shelf(folder).finished

    def test_one_that_came_by_another_call_is_there(self, tmp_path: Path) -> None:
        folder = write_folder(tmp_path / "scored", [Made("a.jpg"), Made("2:b.jpg", seed=2)])
        told = json.loads((folder / "run.json").read_text(encoding="utf-8"))
        lost = {"b.jpg": "L-1", "d.jpg": "L-1"}
        (folder / "run.json").write_text(json.dumps(told | {"not_found": lost}), encoding="utf-8")
        assert read_shelf(folder).not_found == {"d.jpg": "L-1"}
