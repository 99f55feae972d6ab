"""Count animals, not marks: what is offered as possibly one animal, what people's links make of marks, and the two totals of a lot.

What is a fact of the trade is common practice, no source; the lots are invented.
"""

from __future__ import annotations

from itertools import combinations, permutations, product

import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_marks import link, lots, mark

from cli.lots.entries import Link
from cli.lots.likeness import contradict, unlikeness
from cli.lots.marks import KEPT_APART, Animal, Mark, Range, animals
from cli.lots.matching import matched
from cli.lots.same import Offer, offers, totals
from cli.lots.why_same import REASONS, Reason

Lot = tuple[list[Mark], list[Link]]
ONE, TWO = mark("under.jpg", view="underside", piece="1"), mark("open.jpg", view="opened", piece="1", length_mm=1.3)


def names(of: Offer | Animal) -> list[str]:
    return [f"{each.shot}/{each.speck.candidate}" for each in of.marks]


def reasons(offer: Offer) -> dict[str, str]:
    return {reason.what: reason.value for reason in offer.reasons}


class TestAnyLot:
    @given(lots(), st.randoms(use_true_random=False))
    def test_the_order_of_marks_does_not_matter(self, lot: Lot, random: object) -> None:
        marks, links = lot
        shuffled = list(marks)
        random.shuffle(shuffled)  # type: ignore[attr-defined]
        assert offers(marks, links) == offers(shuffled, links)
        assert totals(marks, links) == totals(shuffled, links)
        assert animals(marks, links) == animals(shuffled, links)

    @given(lots())
    def test_as_one_there_are_no_more_than_as_many(self, lot: Lot) -> None:
        told = totals(*lot)
        for same, different in ((told.if_same, told.if_different), *told.apart.values()):
            assert 0 <= same.least <= different.least
            assert 0 <= same.most <= different.most
            assert same.least <= same.most

    @given(lots())
    def test_an_offer_is_no_contradiction(self, lot: Lot) -> None:
        marks, links = lot
        said = {each.speck: (group.said, names(group)[0]) for group in animals(marks, links) for each in group.marks}
        for offer in offers(marks, links):
            assert len({(each.lot, each.sample) for each in offer.marks}) == 1
            for one, other in combinations(offer.marks, 2):
                if said[one.speck] == said[other.speck]:
                    continue
                assert one.speck.shot_sha256 != other.speck.shot_sha256
                assert not contradict(one, other)
                assert not (said[one.speck][0] and said[other.speck][0]), "that was decided"
            assert offer.reasons
            assert {reason.what for reason in offer.reasons} <= set(REASONS)

    @given(lots())
    def test_each_mark_is_in_one_offer_at_most(self, lot: Lot) -> None:
        specks = [each.speck for offer in offers(*lot) for each in offer.marks]
        assert len(set(specks)) == len(specks)

    @given(lots())
    def test_what_is_more_alike_comes_first(self, lot: Lot) -> None:
        order = [offer.unlikeness for offer in offers(*lot)]
        assert order == sorted(order)

    @given(lots())
    def test_links_part_the_marks(self, lot: Lot) -> None:
        marks, links = lot
        groups = animals(marks, links)
        found = [each.speck for group in groups for each in group.marks]
        assert sorted(found, key=str) == sorted((each.speck for each in marks), key=str), "each in one group"
        last = {speck: number for number, each in enumerate(links) for speck in each.specks}
        together = {(a.speck, b.speck) for group in groups for a, b in product(group.marks, repeat=2)}
        for a, b in product(marks, repeat=2):
            one = a.speck == b.speck or (a.speck in last and last[a.speck] == last.get(b.speck))
            assert ((a.speck, b.speck) in together) == one

    @given(lots())
    def test_all_offers_taken_leave_what_was_said_if_the_same(self, lot: Lot) -> None:
        marks, links = lot
        before = totals(marks, links)
        taken = [*links, *(link(*offer.marks) for offer in offers(marks, links))]
        assert totals(marks, taken).if_different == before.if_same
        assert totals(marks, taken).if_same <= before.if_same

    @given(lots())
    def test_all_offers_refused_leave_what_was_said_if_different(self, lot: Lot) -> None:
        marks, links = lot
        loose = {m.speck for group in animals(marks, links) if not group.said for m in group.marks}
        refused = [*links, *(Link((each.speck,)) for each in marks if each.speck in loose)]
        assert offers(marks, refused) == ()
        told = totals(marks, refused)
        assert told.if_same == told.if_different == totals(marks, links).if_different

    @given(lots())
    def test_likeness_is_mutual(self, lot: Lot) -> None:
        for one, other in combinations(lot[0], 2):
            assert contradict(one, other) == contradict(other, one)
            assert unlikeness(one, other) == unlikeness(other, one)


class TestLinks:
    def test_the_last_one_of_a_mark_counts(self) -> None:
        a, b, c = (mark(name) for name in ("a", "b", "c"))
        groups = animals([a, b, c], [link(a, b), link(b, c)])
        assert [names(group) for group in groups] == [["a/1"], ["b/1", "c/1"]]
        assert [group.said for group in groups] == [True, True]

    def test_alone_a_mark_is_an_animal_of_its_own(self) -> None:
        a, b = mark("a"), mark("b")
        assert len(offers([a, b], [])) == 1
        assert offers([a, b], [link(a), link(b)]) == ()
        assert totals([a, b], [link(a), link(b)]).if_same == Range(2, 2)

    def test_one_that_is_told_apart_may_still_be_a_third(self) -> None:
        a, b, c = (mark(name) for name in ("a", "b", "c"))
        [offer] = offers([a, b, c], [link(a), link(b)])
        assert names(offer) in (["a/1", "c/1"], ["b/1", "c/1"])
        assert totals([a, b, c], [link(a), link(b)]).if_same == Range(2, 2)

    def test_a_link_that_names_others_than_are_there(self) -> None:
        a, b = mark("a"), mark("b")
        [only] = animals([a], [link(a, b)])
        assert only == Animal((a,), said=True)

    def test_two_marks_of_one_photograph_stand_as_one_where_a_person_says_so(self) -> None:
        head, rest = mark("a", 1, body="part_with_head"), mark("a", 2, body="part")
        [one] = animals([head, rest], [link(head, rest)])
        assert (one.body, one.range) == ("", Range(1, 1))


class TestOffers:
    def test_two_views_of_one_piece(self) -> None:
        [offer] = offers([ONE, TWO], [])
        assert names(offer) == ["open.jpg/1", "under.jpg/1"]
        assert reasons(offer) == {"same_piece": "1", "lengths": "0.10"}

    @pytest.mark.parametrize(
        "more",
        [
            {"piece": "2"},
            {"sample": "2"},
            {"lot": "Quillmere 8"},
            {"kind": "thrips"},
            {"body": "skin"},
            {"body": "colony", "least": 3, "most": 5},
            {"length_mm": 2.0},
            {"width_mm": 0.2},
            {"view": "underside", "tone": "lighter"},
            {"view": "underside", "density": 0.9},
        ],
    )
    def test_what_speaks_against_it(self, more: dict[str, object]) -> None:
        one = mark("a", view="underside", piece="1", kind="aphid", body="whole", tone="darker", density=0.4)
        alike = {"view": "opened", "piece": "1", "kind": "aphid", "body": "whole", "tone": "darker", "density": 0.4}
        assert len(offers([one, mark("b", **alike)], [])) == 1
        assert offers([one, mark("b", **alike | more)], []) == ()

    @pytest.mark.parametrize(
        "more",
        [
            {"kind": ""},
            {"kind": "Aphid "},
            {"kind": "cabbage aphid"},
            {"body": ""},
            {"body": "part_with_head"},
            {"piece": ""},
            {"view": ""},
            {"length_mm": None, "width_mm": None},
            # Ten per cent off, each known to five: 0.12 mm is within two standard uncertainties, 0.17 mm.
            {"length_mm": 1.32},
            {"view": "onblack", "tone": "lighter", "density": -0.4},
        ],
    )
    def test_what_is_no_obstacle(self, more: dict[str, object]) -> None:
        one = mark("a", view="underside", piece="1", kind="aphid", body="whole", tone="darker", density=0.4)
        alike = {"view": "opened", "piece": "1", "kind": "aphid", "body": "whole", "tone": "darker", "density": 0.4}
        assert len(offers([one, mark("b", **alike | more)], [])) == 1

    def test_never_two_marks_of_one_photograph(self) -> None:
        marks = [mark("a", 1), mark("a", 2), mark("b", 1)]
        [offer] = offers(marks, [])
        assert {each.shot for each in offer.marks} == {"a", "b"}
        told = totals(marks, [])
        assert (told.if_same, told.if_different) == (Range(2, 2), Range(3, 3))

    def test_kinds_that_differ_are_not_joined_by_a_third(self) -> None:
        marks = [mark("a", kind="aphid"), mark("b"), mark("c", kind="thrips")]
        assert totals(marks, []).if_same == Range(2, 2)
        assert all({"aphid", "thrips"} - {each.kind for each in offer.marks} for offer in offers(marks, []))

    def test_as_many_are_paired_as_can_be(self) -> None:
        # Were 1.2 put with 1.2, its best, 1.05 and 1.35 would be left over; put with 1.35, 1.05 goes with the other 1.2.
        first = [mark("a", 1, length_mm=1.2), mark("a", 2, length_mm=1.05)]
        second = [mark("b", 1, length_mm=1.2), mark("b", 2, length_mm=1.35)]
        assert totals([*first, *second], []).if_same == Range(2, 2)

    def test_overlapping_photographs_are_laid_over_each_other(self) -> None:
        # Five aphids alike; the second photograph is turned a quarter and shifted, and shows four of them, one alone on it.
        places = [(10.0, 10.0), (42.0, 17.0), (25.0, 60.0), (61.0, 48.0), (70.0, 5.0)]
        first = [mark("a", k, view="layers", x_mm=x, y_mm=y) for k, (x, y) in enumerate(places, 1)]
        second = [mark("b", k, view="layers", x_mm=100 - y, y_mm=x + 3) for k, (x, y) in enumerate(places[:4], 1)]
        second.append(mark("b", 9, view="layers", x_mm=90.0, y_mm=90.0))
        found = offers([*first, *second], [])
        assert sorted(names(offer) for offer in found) == [[f"a/{k}", f"b/{k}"] for k in range(1, 5)]
        assert all("laid_over" in reasons(offer) for offer in found)
        told = totals([*first, *second], [])
        assert (told.if_same, told.if_different) == (Range(6, 6), Range(10, 10))

    def test_a_card_shows_what_was_lifted(self) -> None:
        lifted = mark("card 4.jpg", view="card", card="4", kind="aphid", body="whole")
        other = mark("water.jpg", 1, view="water")
        [offer] = offers([other, lifted], [])
        assert reasons(offer)["on_card"] == "4"
        # Somebody noted the card's number with the marks before the card was photographed.
        first, second = mark("under.jpg", 1), mark("water.jpg", 1)
        [offer] = offers([first, second, lifted], [link(first, second, card="4")])
        assert names(offer) == ["card 4.jpg/1", "under.jpg/1", "water.jpg/1"]
        assert offers([first, second, lifted], [link(first, second, card="5")]) == ()

    def test_nothing_is_an_empty_value(self) -> None:
        assert offers([], []) == ()
        assert animals([], []) == ()
        assert totals([], []).if_same == totals([], []).if_different == Range(0, 0)
        assert totals([], []).apart == {}


class TestCounting:
    def test_a_colony_is_its_range_and_the_largest_of_its_marks(self) -> None:
        one, two = (
            mark(name, body="colony", least=least, most=most) for name, least, most in (("a", 30, 40), ("b", 25, 60))
        )
        assert totals([one, two], []).if_different == Range(55, 100)
        assert totals([one, two], []).if_same == Range(30, 60)
        assert totals([one, two], [link(one, two)]).if_different == Range(30, 60)

    def test_the_mark_on_the_card_is_the_count(self) -> None:
        colony = mark("a", body="colony", least=30, most=40)
        card = mark("c", view="card", body="colony", least=33, most=35)
        assert totals([colony, card], [link(colony, card)]).if_different == Range(33, 35)

    def test_a_card_shows_that_it_is_a_skin(self) -> None:
        seen, card = mark("a", body="whole"), mark("c", view="card", body="skin")
        told = totals([seen, card], [link(seen, card)])
        assert told.if_different == Range(0, 0)
        assert told.apart == {"skin": (Range(1, 1), Range(1, 1))}

    @pytest.mark.parametrize("body", KEPT_APART)
    def test_what_is_kept_apart(self, body: str) -> None:
        marks = [mark("a", body=body), mark("b", body=body), mark("c", body="whole", length_mm=4.0)]
        told = totals(marks, [])
        assert (told.if_same, told.if_different) == (Range(1, 1), Range(1, 1))
        assert told.apart == {body: (Range(1, 1), Range(2, 2))}

    def test_a_part_that_is_linked_with_a_body_is_that_animal(self) -> None:
        body, part = mark("a", body="whole"), mark("b", body="part")
        told = totals([body, part], [link(body, part)])
        assert told.if_different == Range(1, 1)
        assert told.apart == {}

    def test_a_lot_by_hand(self) -> None:
        """Seven marks: two views of one aphid, one aphid before and after the swirl and on its card, a thrips, a larva."""
        marks = [
            mark("under.jpg", 1, view="underside", piece="1", kind="aphid"),
            mark("open.jpg", 1, view="opened", piece="1", kind="aphid"),
            mark("water.jpg", 1, view="water", kind="aphid", length_mm=2.0),
            mark("swirl.jpg", 1, view="swirl", length_mm=2.0),
            mark("card.jpg", 1, view="card", card="1", kind="aphid", length_mm=2.02),
            mark("water.jpg", 2, view="water", kind="thrips", length_mm=1.1, width_mm=0.25),
            mark("water.jpg", 3, view="water", kind="larva", length_mm=6.0),
        ]
        told = totals(marks, [])
        assert (told.if_same, told.if_different) == (Range(4, 4), Range(7, 7))
        assert sorted(len(offer.marks) for offer in offers(marks, [])) == [2, 3]


@given(st.dictionaries(st.tuples(st.integers(0, 4), st.integers(0, 4)), st.floats(0, 1), max_size=14))
def test_no_other_choice_has_more_pairs(costs: dict[tuple[int, int], float]) -> None:
    found = matched(costs)
    assert set(found.items()) <= set(costs)
    assert len(set(found.values())) == len(found)
    most = max(sum((row, column) in costs for row, column in enumerate(order)) for order in permutations(range(5)))
    assert len(found) == most


def test_a_reason_without_a_name() -> None:
    assert Reason("stayed") == Reason("stayed", "")
