"""A lot's record as a table, read back by pandas. All invented (`lot_folder.py`)."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date
from typing import Any

import pandas as pd
import pytest
from lot_folder import LOT, People, Taken, people_on
from test_house import forbidden
from test_record_page import HEBREW, SOURCES, WANTED, busy

from cli.lots.compared import totals_of
from cli.lots.entries import Correction, DetectionGiven, Link, Sampled
from cli.lots.record_counts import counts_of
from cli.lots.record_table import RECORD, record_table


def table_of(people: People, lot: str = LOT, **wanted: Any) -> pd.DataFrame:
    data = record_table(people.lot(lot), replace(WANTED, **wanted), SOURCES)
    assert data.startswith(b"\xef\xbb\xbf")
    assert data.endswith(b"\r\n")
    return pd.read_csv(io.BytesIO(data), dtype=str, keep_default_na=False, encoding="utf-8-sig")


def test_its_columns_and_its_rows_in_the_order_of_the_page() -> None:
    table = table_of(busy())
    assert list(table.columns) == [column.name for column in RECORD]
    assert list(dict.fromkeys(table["what"])) == ["gap", "insect", "count", "rule", "decision", "entry"]
    assert set(table["lot"]) == {LOT}
    assert forbidden(" ".join(table.to_numpy().ravel())) == []


def test_insects_are_the_lots() -> None:
    people = busy()
    people.enter(Link((people.flags("leaf 1.jpg")[0], people.flags("no scale.jpg")[0])))
    insects = table_of(people).query("what == 'insect'")
    assert list(insects["shot"]) == ["water 1.jpg", "leaf 1.jpg", "no scale.jpg"]
    assert list(insects["length_mm"]) == ["0.60", "0.60", ""]
    assert list(insects["most"]) == ["", "", "50"]
    # Marks that a person linked have one word.
    assert list(insects["animal"]) == ["", "animal 1", "animal 1"]
    assert list(insects["by"]) == ["Ida"] * 3


def test_counts_are_what_was_counted() -> None:
    people = busy()
    lot = people.lot()
    (counted,) = counts_of(lot, totals_of(lot))
    rows = table_of(people).query("what == 'count' and amount == '' ")
    assert rows["most"].astype(int).sum() == sum(row.most for row in counted.rows)
    rates = table_of(people).query("what == 'count' and amount != '' and kind == ''")
    assert list(rates["per"]) == ["sample", "piece", "100 g"]
    assert list(rates["high"].astype(float)) == pytest.approx([rate.limits.high for rate in counted.rates()], rel=1e-3)
    people.enter(DetectionGiven(seen=0, put_in=4))
    assert set(table_of(people).query("what == 'count' and amount != ''")["high"]) == {"inf"}


def test_entries_say_who_made_them() -> None:
    people = people_on(Taken("w.jpg"))
    people.enter(Sampled("1", 6), by="Odile")
    (row,) = table_of(people).query("what == 'entry'").to_dict("records")
    assert (row["sample"], row["by"], row["at"]) == ("1", "Odile", "2026-03-04T11:00:01Z")
    assert row["text"].startswith("Sample 1: 6 pieces")


@pytest.mark.parametrize("formula", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "=HYPERLINK(1)"])
def test_no_cell_is_a_formula(formula: str) -> None:
    people = people_on(Taken("w.jpg", 1))
    people.insect(people.flags("w.jpg")[0], kind=formula.strip(), note=formula)
    people.enter(Correction(people.shot("w.jpg").sha256, "sample", formula.strip()))
    for cell in table_of(people).to_numpy().ravel():
        assert not cell.startswith(("=", "+", "-", "@", "\t"))
    assert any(formula.strip() in cell for cell in table_of(people).to_numpy().ravel())


def test_hebrew_comes_back_as_it_went_in() -> None:
    table = table_of(busy(lot=HEBREW, name="עלה, 1.jpg", checker='אורית "א" לוי'), HEBREW)
    assert set(table["lot"]) == {HEBREW}
    assert "עלה, 1.jpg" in set(table["shot"])
    assert 'אורית "א" לוי' in set(table["by"])


def test_the_suppliers_has_no_staff_rates_rule_or_decision() -> None:
    people = busy(checker="Zebulon")
    said = (*people.shelf.shots[0].said, "checker: the slip says Zebulon, the list Bo.")
    people.shelf = replace(people.shelf, shots=(replace(people.shelf.shots[0], said=said), *people.shelf.shots[1:]))
    table = table_of(people, for_supplier=True)
    assert set(table["what"]) == {"gap", "insect", "count"}
    assert not any("Zebulon" in cell for cell in table.to_numpy().ravel())
    assert set(table["amount"]) == {""}


def test_it_goes_by_no_clock() -> None:
    people = busy()
    one, other = (table_of(people, on_day=date(2026, 3, day)) for day in (5, 5))
    assert one.equals(other)
