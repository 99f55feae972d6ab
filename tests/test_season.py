"""A page over many lots: months, suppliers, kinds, what is due. All invented (`lot_folder.py`)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from lot_folder import LOT, People, Taken, people_on
from made_rules import rule
from scipy.stats import chi2
from statsmodels.stats.proportion import proportion_confint
from test_house import forbidden
from test_record_page import SOURCES

from cli.lots.blocks import Document, Grid
from cli.lots.entries import Correction, Decided, FoundByHand, LateEntry, LotOf, RuleGiven, Sampled
from cli.lots.record_page import record_html
from cli.lots.rule_file import rule_text
from cli.lots.season import FIRST_CHECK, NO_LOTS, NONE_DUE, LotLine, joined, line_of, season_of
from cli.lots.telling import figure, percent

SINCE, UNTIL = date(2026, 3, 1), date(2026, 4, 30)
LATE = "2026-03-04T21:10:00+01:00"
DECIDED = Decided("Back to the gardener", "Odile Farrow-Quill (invented)", "2026-03-04T15:00:00+01:00")


def lot_of(
    name: str, day: str, insects: int, supplier: str = "", decided: bool = True, pieces: int | None = 6
) -> LotLine:
    people = people_on(
        Taken("w.jpg", max(insects, 1), size_px=(600, 400), lot=name, taken_at=f"{day}T09:00:00" if day else "")
    )
    people.answer_all()
    people.look_at_all()
    for speck in people.flags("w.jpg")[:insects]:
        people.insect(speck)
    people.enter(Sampled("1", pieces), *([DECIDED] if decided else []), lot=name)
    if supplier:
        people.enter(Correction(people.shot("w.jpg").sha256, "supplier", supplier))
    return line_of(people.lot(name), SOURCES, date(2026, 4, 30))


def season(*lines: LotLine, **days: Any) -> Document:
    page = season_of(lines, days.get("since", SINCE), days.get("until", UNTIL))
    text = record_html(page, lambda cut: None)
    assert (
        forbidden(" ".join([page.title, *page.lines, *(line for each in page.sections for line in each.lines)])) == []
    )
    assert "<script" not in text
    return page


def grid(page: Document, name: str) -> Grid:
    return next(section for section in page.sections if section.name == name).grids[0]


MARCH = lot_of("A", "2026-03-04", 2, "Brook Farm (invented)")
SAME = lot_of("B", "2026-03-31", 0, "Brook Farm (invented)")
APRIL = lot_of("C", "2026-04-01", 0, "Mill Garden (invented)", decided=False)


class TestMonths:
    def test_each_lot_stands_in_the_month_of_its_first_check(self) -> None:
        rows = grid(season(APRIL, SAME, MARCH), "months").rows
        assert [row[:3] for row in rows] == [("2026-03", "2", "1"), ("2026-04", "1", "0")]
        assert [row[4:6] for row in rows] == [("2", "12 pieces"), ("0", "6 pieces")]

    def test_limits_are_exact(self) -> None:
        march, april = grid(season(MARCH, SAME, APRIL), "months").rows
        low, high = proportion_confint(1, 2, alpha=0.05, method="beta")
        assert march[3] == f"{percent(low)} to {percent(high)}"
        low, high = chi2.ppf(0.025, 4) / 2 / 12, chi2.ppf(0.975, 6) / 2 / 12
        assert march[7] == f"{figure(low)} to {figure(high)} per piece"
        assert april[7] == f"0 to {figure(chi2.ppf(0.95, 2) / 2 / 6)} per piece"

    def test_the_days_are_both_included(self) -> None:
        page = season(MARCH, SAME, APRIL, since=date(2026, 3, 4), until=date(2026, 3, 31))
        assert page.lines[0] == "2 lots, first checked from 2026-03-04 to 2026-03-31."
        assert season(MARCH, since=date(2026, 3, 5)).lines[0] == NO_LOTS

    def test_it_is_said_what_it_is_counted_on(self) -> None:
        assert FIRST_CHECK in next(section for section in season(MARCH).sections if section.name == "months").lines
        assert "every insect that is there is seen" in FIRST_CHECK

    def test_lots_without_known_pieces_have_no_rate(self) -> None:
        page = season(lot_of("D", "2026-03-04", 3, pieces=None))
        assert grid(page, "months").rows[0][4:] == ("3", "pieces not known", "", "")

    def test_lots_without_known_pieces_beside_others(self) -> None:
        (row,) = grid(season(lot_of("D", "2026-03-04", 3, pieces=None), MARCH), "months").rows
        # All animals are told; the rate is of the lot whose pieces are known.
        assert row[4:7] == ("5", "6 pieces, of 1 of 2 lots", "0.333 per piece")


class TestFirstCheck:
    def test_later_checks_are_not_counted(self) -> None:
        people = people_on(Taken("a.jpg", 2), Taken("b.jpg", 1, sample="2"))
        for name in ("a.jpg", "b.jpg"):
            for speck in people.flags(name):
                people.insect(speck)
        people.enter(Sampled("1", 6, on="2026-03-04"), Sampled("2", 6, check=2, look="after_wash", on="2026-03-05"))
        line = line_of(people.lot(), SOURCES, UNTIL)
        assert line.day == date(2026, 3, 4)
        assert line.first is not None
        assert line.first.all == (2, 2)

    def test_a_second_check_alone_is_no_first_one(self) -> None:
        people = people_on(Taken("a.jpg", 1))
        people.insect(people.flags("a.jpg")[0])
        people.enter(Sampled("1", 6, check=2, look="after_wash", on="2026-03-05"))
        line = line_of(people.lot(), SOURCES, UNTIL)
        assert (line.first, line.day) == (None, None)
        assert LOT in season(line).lines[1]


class TestDue:
    def due(self, people: People) -> tuple[str, ...]:
        return line_of(people.lot(), SOURCES, UNTIL).due

    def test_none(self) -> None:
        assert next(section for section in season(MARCH).sections if section.name == "gaps").lines == (NONE_DUE,)

    def test_open_flags_a_wash_that_is_asked_for_and_a_lot_that_is_held(self) -> None:
        people = people_on(Taken("w.jpg", 3))
        people.look_at_all()
        assert self.due(people)[0].startswith("3 flags that nobody has answered")
        for speck in people.flags("w.jpg"):
            people.insect(speck)
        people.enter(RuleGiven(rule_text(rule(until_date=UNTIL))))
        step = 'By the rule of Mudlark Table (of 2026-02-20, version b84dc7), the next step is: "rinse, look again".'
        assert self.due(people) == (step, "The lot is held: no decision was entered.")
        people.enter(DECIDED)
        assert self.due(people) == (step,)

    def test_it_is_told_lot_by_lot(self) -> None:
        (gaps,) = [section for section in season(MARCH, APRIL).sections if section.name == "gaps"]
        assert gaps.lines == ("C: The lot is held: no decision was entered.",)


class TestGroups:
    def test_suppliers_and_kinds(self) -> None:
        page = season(MARCH, SAME, APRIL)
        assert [row[:3] for row in grid(page, "suppliers").rows] == [
            ("Brook Farm (invented)", "2", "1"),
            ("Mill Garden (invented)", "1", "0"),
        ]
        assert grid(page, "kinds").rows == (("aphid", "2", "1"),)
        assert [row[1] for row in grid(page, "lots").rows] == ["A", "B", "C"]

    def test_lots_without_a_day_are_named(self) -> None:
        page = season(MARCH, lot_of("E", "", 0))
        assert page.lines[1] == "The day of their first check is not known, so they are not among these: E."


class TestJoined:
    """Several folders whose answers are kept in one record."""

    def folders(self) -> tuple[People, People]:
        one, other = people_on(Taken("a.jpg", 1)), people_on(Taken("b.jpg", 1))
        for people, name in ((one, "a.jpg"), (other, "b.jpg")):
            people.insect(people.flags(name)[0])
        entries = (Sampled("1", 6), LateEntry("2", 4, (FoundByHand("aphid", "whole", 3, 3),), LATE, "Bo"))
        for people in (one, other):
            # One record: what was entered is read with each of its folders.
            people.enter(*entries)
        return one, other

    def test_a_lot_of_two_folders_is_one_with_each_entry_once(self) -> None:
        one, other = self.folders()
        ((lot, _),) = joined([(one.lot(), SOURCES), (other.lot(), SOURCES)])
        assert [photo.shot.name for photo in lot.photos] == ["a.jpg", "b.jpg"]
        line = line_of(lot, SOURCES, UNTIL)
        assert line.first is not None
        assert line.first.all == (4, 5)

    def test_a_folder_that_is_given_twice_counts_once(self) -> None:
        one, _ = self.folders()
        ((lot, _),) = joined([(one.lot(), SOURCES), (one.lot(), SOURCES)])
        assert lot.photos == one.lot().photos
        assert lot.marks == one.lot().marks

    def test_entries_of_lots_that_stand_in_another_folder_make_no_lot_of_their_own(self) -> None:
        one, other = self.folders()
        other.enter(LotOf(3), lot="elsewhere")
        one.enter(LotOf(3), lot="elsewhere")
        pairs = [(lot, SOURCES) for people in (one, other) for lot in people.lots().values()]
        assert sorted(lot.name for lot, _ in joined(pairs)) == [LOT, "elsewhere"]

    def test_what_names_no_lot_stays_with_its_folder(self) -> None:
        one, other = people_on(Taken("a.jpg", lot="")), people_on(Taken("b.jpg", lot=""))
        lots = joined([(one.lot(""), SOURCES), (other.lot(""), SOURCES)])
        assert [[photo.shot.name for photo in lot.photos] for lot, _ in lots] == [["a.jpg"], ["b.jpg"]]
        empty = replace(one.lot(""), photos=(), marks=())
        assert joined([(empty, SOURCES)]) == []


@pytest.mark.parametrize("name", ["", LOT])
def test_a_lot_is_called_by_its_name(name: str) -> None:
    people = people_on(Taken("w.jpg", lot=name))
    assert line_of(people.lot(name), SOURCES, UNTIL).name == (name or "no lot named")
