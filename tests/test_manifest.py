"""manifest.csv: what it says, and every way in which it can be wrong, named by its row.

The rows are invented: the kitchen of Quillmere House.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cli.batch.belonging import BELONGS
from cli.batch.manifest import COLUMNS, Manifest, ManifestFaults, read_manifest
from vision.guides.views import VIEWS
from vision.table import Column, format_cell, to_csv

HEAD = "shot,lot,sample,piece,view,grams,grams_are,check,card\n"


def read(text: str) -> Manifest:
    return read_manifest(text.encode())


def faults(text: str, name: str = "manifest.csv") -> tuple[str, ...]:
    with pytest.raises(ManifestFaults) as caught:
        read_manifest(text.encode(), name)
    return caught.value.faults


class TestWhatItSays:
    def test_of_a_shot_are_the_cells_that_hold_something(self) -> None:
        said = read(HEAD + "a/1.jpg,Q-12,1,,Blanks,,,,\na/2.jpg, Q-12 ,1,3,,250.50,Drained,2,14\n")
        assert said.rows == {
            "a/1.jpg": {"lot": "Q-12", "sample": "1", "view": "blank"},
            "a/2.jpg": {
                "lot": "Q-12", "sample": "1", "piece": "3", "grams": "250.5", "grams_are": "drained", "check": "2", "card": "14",
            },
        }  # fmt: skip

    def test_through_a_spreadsheet_is_the_same(self) -> None:
        plain = read("shot,lot,grams,grams_are\nä.jpg,Q,1200.5,raw\n")
        wide = "\ufeffGrams_are;LOT;grams;shot\r\nraw;Q;1200,5;ä.jpg\r\n;;;\r\n".encode("utf-16-le")
        assert read_manifest(wide).rows == plain.rows

    def test_names_are_nfc_with_the_case_they_have(self) -> None:
        assert list(read(f"shot,lot\n{unicodedata.normalize('NFD', 'É/b.JPG')},1\n").rows) == ["É/b.JPG"]

    def test_another_table_has_another_digest(self) -> None:
        assert read("shot\na.jpg\n").sha256 != read("shot\nb.jpg\n").sha256

    @pytest.mark.parametrize("view", VIEWS)
    def test_every_view_is_one(self, view: str) -> None:
        assert read(f"shot,view\na.jpg,{view.upper()}\n").rows["a.jpg"] == {"view": view}

    @given(st.dictionaries(st.text("abc/ .é,;\"'=+", min_size=1), st.text("xyz -,;\"'=@"), max_size=5))
    def test_a_table_in_our_own_form_is_read_back(self, lots: dict[str, str]) -> None:
        columns = (Column("shot", "text", ""), Column("lot", "text", ""))
        plain = {shot.strip(): lot.strip() for shot, lot in lots.items() if shot.strip()}
        rows = [[format_cell(columns[0], shot), format_cell(columns[1], lot)] for shot, lot in plain.items()]
        expected = {shot: {"lot": lot} if lot else {} for shot, lot in plain.items()}
        assert read_manifest(to_csv(columns, rows)).rows == expected


class TestFaults:
    @pytest.mark.parametrize(
        ("row", "said"),
        [
            ("a.jpg,Q,1,,wter,,,,", "manifest.csv, row 2: there is no view “wter”: it is blank, card, underside"),
            ("a.jpg,Q,1,,,-3,raw,,", "grams holds “-3”, but it is a number above 0"),
            ("a.jpg,Q,1,,,0.0001,raw,,", "grams holds “0.0001”, but it is a number above 0"),
            ("a.jpg,Q,1,,,much,raw,,", "grams holds “much”, which is no number"),
            ('a.jpg,Q,1,,,"1,250",raw,,', "its mark may separate thousands or decimals"),
            ("a.jpg,Q,1,,,250,,,", "grams stand without a word in grams_are: write raw or drained"),
            ("a.jpg,Q,1,,,,raw,,", "grams_are says raw, but grams is empty"),
            ("a.jpg,Q,1,,,250,wet,,", "grams_are holds “wet”, but it is raw or drained"),
            ("a.jpg,Q,1,,,,,0,", "check holds “0”, but it is a whole number from 1 up"),
            ("a.jpg,Q,1,,,,,,1.5", "card holds “1.5”, but only a whole number can stand there"),
            (",Q,1,,,,,,", "the shot is empty: say which photograph the row is about"),
            ("a.jpg,Q\x07,1,,,,,,", "The lot holds a control character"),
            (f"a.jpg,{'Q' * 81},1,,,,,,", "The lot is longer than 80 characters"),
            (f"{'a' * 1001},Q,1,,,,,,", "The shot is longer than 1000 characters"),
            ("a.jpg,Q,1,,,,,,,,surplus", "This row has more cells than there are columns"),
        ],
    )
    def test_are_named_by_row(self, row: str, said: str) -> None:
        (only,) = faults(HEAD + row + "\n")
        assert only.startswith("manifest.csv, row 2: ")
        assert said in only

    def test_of_one_row_and_of_all_are_named_together(self) -> None:
        found = faults(HEAD + "a.jpg,Q,1,,wter,x,raw,,\n,Q,,,,,,,\n\nb.jpg,Q,1,,,,,,\n")
        assert [fault.split(":")[0] for fault in found] == [
            *("manifest.csv, row 2", "manifest.csv, row 2", "manifest.csv, row 3"),
        ]

    def test_a_shot_that_stands_twice_names_both_rows(self) -> None:
        assert faults("shot,lot\na.jpg,1\nb.jpg,1\n a.jpg,1\n") == (
            "manifest.csv, row 4: the shot “a.jpg” stands in row 2 already.",
        )

    def test_a_column_it_has_not_is_refused_with_a_hint(self) -> None:
        (only,) = faults("shot,smaple\na.jpg,1\n")
        assert only.startswith(
            "manifest.csv: there is no column “smaple”. Is sample meant? Its columns are shot, lot, "
        )
        (only,) = faults("shot,xyzzy\na.jpg,1\n", "2:manifest.csv")
        assert only.startswith("2:manifest.csv: there is no column “xyzzy”. Its columns are ")

    def test_what_stands_under_no_name_is_refused(self) -> None:
        assert faults("shot,,lot\na.jpg,x,1\n") == (
            "manifest.csv: column B has no name in the first row, and something stands in it.",
        )

    @pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"lot,sample\n1,2\n", b'shot,lot\n"a,1\n', b"\xff\xfe\x00"])
    def test_what_is_no_such_table_is_one(self, data: bytes) -> None:
        with pytest.raises(ManifestFaults, match=r"manifest\.csv: "):
            read_manifest(data)

    def test_no_more_than_twenty_are_listed_and_the_rest_counted(self) -> None:
        with pytest.raises(ManifestFaults) as caught:
            read(HEAD + "".join(f"{n}.jpg,Q,1,,no,,,,\n" for n in range(23)))
        lines = str(caught.value).splitlines()
        assert lines[0] == "23 faults in manifest.csv, so it is not used."
        assert len(lines) == 22
        assert lines[-1] == "… and 3 more"
        with pytest.raises(ManifestFaults) as caught:
            read(HEAD + "".join(f"{n}.jpg,Q,1,,no,,,,\n" for n in range(20)))
        assert len(str(caught.value).splitlines()) == 21

    @given(st.binary(max_size=200) | st.text(max_size=200).map(lambda text: f"shot,lot,view\n{text}".encode()))
    def test_whatever_the_bytes_it_is_read_or_refused_in_sentences(self, data: bytes) -> None:
        found: tuple[str, ...] = ()
        rows: Mapping[str, Mapping[str, str]] = {}
        try:
            rows = read_manifest(data).rows
        except ManifestFaults as error:
            found = error.faults or ("",)
        assert all(fault.startswith("manifest.csv") and fault.isprintable() for fault in found)
        for shot, fields in rows.items():
            assert shot
            assert fields.keys() <= BELONGS.keys()
            assert all(fields.values())


def test_the_columns_are_the_shot_and_every_field() -> None:
    assert ("shot", *BELONGS) == COLUMNS
