"""`speckwise report` as a command: what it writes, and what it refuses with nothing written. All invented."""

from __future__ import annotations

import io
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from lot_folder import LOT, People, Taken, people_on, shelf_of, write_lots
from report_calls import SHOTS, Call, answered, caller, refused

from cli.lots.entries import LateEntry, LotOf
from cli.review.shelf import STORE
from cli.review.store import Store, sqlite_url
from faked import everything
from vision.words import WHO_DECIDES


@pytest.fixture
def call(capfd: pytest.CaptureFixture[str]) -> Call:
    return caller(capfd)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return answered(tmp_path / "out")


class TestWritten:
    def test_a_page(self, folder: Path, tmp_path: Path, call: Call) -> None:
        out = tmp_path / "lot.html"
        code, said, err = call(folder, "--out", out)
        assert (code, err) == (0, "")
        open_still = "Sample 1: 6 pieces looked at as entered, and photographs of 1."
        assert said.splitlines() == [f"{out}: the record of lot {LOT}.", open_still, WHO_DECIDES]
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
        words = (tmp_path / "out", "--verify", "--out", tmp_path / "lot.html")
        assert call(*words, "--store", sqlite_url(store))[0] == 0
        assert call(*words)[0] == 1

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


def test_the_bench_says_seconds_of_page_table_and_verify(capsys: pytest.CaptureFixture[str]) -> None:
    import report

    report.main(2)
    said = capsys.readouterr().out.splitlines()
    assert said[0] == "20 photographs, 80 answers, 4 of them insects"
    assert [line.split(":")[0] for line in said[1:]] == ["page", "table", "--verify"]
