"""Agreement of readers: against published figures, against statsmodels and scipy, by what must hold of any kappa, and by drawing."""

from __future__ import annotations

import ast

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from outside_values import rows
from scipy import stats
from statsmodels.stats import inter_rater

from cli.lots.agreement import (
    Agreement,
    category_kappas,
    cohen_error,
    cohen_kappa,
    fleiss_kappa,
    observed_agreement,
    share_interval,
    tables_of,
)

Counts = NDArray[np.int64]


@st.composite
def square_tables(draw: st.DrawFn) -> Counts:
    """Counts of two readers and 2 to 5 categories of which at least two were used, so that there is a kappa."""
    k = draw(st.integers(2, 5))
    table = np.array(draw(st.lists(st.integers(0, 30), min_size=k * k, max_size=k * k)), dtype=np.int64).reshape(k, k)
    assume(((table.sum(axis=0) + table.sum(axis=1)) > 0).sum() > 1)
    return table


@st.composite
def rated(draw: st.DrawFn, fewest: int = 1) -> Counts:
    """Subjects x categories: 2 to 6 ratings of each subject, at least two categories used."""
    k, readers = draw(st.integers(2, 4)), draw(st.integers(2, 6))
    one = st.lists(st.integers(0, k - 1), min_size=readers, max_size=readers)
    said = draw(st.lists(one, min_size=fewest, max_size=25))
    counts = np.array([np.bincount(each, minlength=k) for each in said])
    assume((counts.sum(axis=0) > 0).sum() > 1)
    return counts


def same(one: Agreement, other: Agreement) -> None:
    assert one.subjects == other.subjects
    for a, b in ((one.value, other.value), (one.low, other.low), (one.high, other.high)):
        assert (a is None) == (b is None)
        assert a is None or a == pytest.approx(b, abs=1e-9)


def published(topic: str) -> list[tuple[Counts, list[float], float]]:
    """Counts, expected figures and tolerance of the rows of tests/outside/kappa.csv of one topic."""
    found = []
    for row in rows("kappa"):
        if row["topic"] != topic:
            continue
        text = row["input"].split(": kappa;")[0]
        if ": rows " in text:
            counts = [[int(n) for n in line.split()] for line in text.split(": rows ")[1].split("|")]
        else:
            counts = ast.literal_eval(text[text.index("[[") :])
        expected = [float(number) for number in row["expected"].split(";")]
        found.append((np.array(counts), expected, float(row["tolerance"].split()[0])))
    assert len(found) == 4
    return found


@pytest.mark.parametrize(("table", "expected", "tolerance"), published("cohen_kappa"))
def test_cohens_kappa_is_the_published_one(table: Counts, expected: list[float], tolerance: float) -> None:
    found = cohen_kappa(table)
    assert found.subjects == table.sum()
    ours = [found.value, cohen_error(table), found.low, found.high][: len(expected)]
    assert ours == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("counts", "expected", "tolerance"), published("fleiss_kappa"))
def test_fleiss_kappa_is_the_published_one(counts: Counts, expected: list[float], tolerance: float) -> None:
    assert fleiss_kappa(counts).value == pytest.approx(expected[0], abs=tolerance)


@given(square_tables())
def test_cohens_kappa_and_its_error_are_statsmodels_own(table: Counts) -> None:
    theirs = inter_rater.cohens_kappa(table)
    ours = cohen_kappa(table)
    assert ours.value == pytest.approx(theirs.kappa, abs=1e-9)
    # Squared: where there is no spread theirs is the root of rounding, at times of a negative number.
    assert cohen_error(table) ** 2 == pytest.approx(theirs.var_kappa, abs=1e-9)
    if ours.low is not None:
        limits = np.clip([theirs.kappa_low, theirs.kappa_upp], -1, 1)
        assert (ours.low, ours.high) == pytest.approx(limits, abs=1e-6)


@given(rated())
def test_fleiss_kappa_is_statsmodels_own(counts: Counts) -> None:
    assert fleiss_kappa(counts).value == pytest.approx(inter_rater.fleiss_kappa(counts), abs=1e-9)


def left_out_by_hand(counts: Counts) -> tuple[float, float]:
    """The jackknife's interval by its definition: every subject left out in turn and the rest handed to statsmodels; t from scipy."""
    n = len(counts)
    value = inter_rater.fleiss_kappa(counts)
    pseudo = [n * value - (n - 1) * inter_rater.fleiss_kappa(np.delete(counts, i, axis=0)) for i in range(n)]
    error = np.std(pseudo, ddof=1) / np.sqrt(n)
    reach = stats.t.ppf(0.975, n - 1) * error / (1 - value**2)
    return float(np.tanh(np.arctanh(value) - reach)), float(np.tanh(np.arctanh(value) + reach))


@pytest.mark.parametrize("subjects", [3, 4, 5, 8, 9, 30, 301])
def test_the_jackknife_leaves_out_each_subject(subjects: int) -> None:
    rng = np.random.default_rng(subjects)
    counts = rng.multinomial(5, rng.dirichlet([4, 4, 4], subjects))
    found = fleiss_kappa(counts)
    assert (found.low, found.high) == pytest.approx(left_out_by_hand(counts), abs=1e-9)


@given(square_tables(), st.randoms(use_true_random=False))
def test_the_order_of_categories_and_of_readers_is_all_one(table: Counts, random: object) -> None:
    order = list(range(len(table)))
    random.shuffle(order)  # type: ignore[attr-defined]
    same(cohen_kappa(table), cohen_kappa(table[np.ix_(order, order)]))
    same(cohen_kappa(table), cohen_kappa(table.T))
    same(observed_agreement(table), observed_agreement(table.T))


@given(rated(), st.randoms(use_true_random=False))
def test_the_order_of_subjects_is_all_one(counts: Counts, random: object) -> None:
    across, down = list(range(counts.shape[1])), list(range(len(counts)))
    random.shuffle(across)  # type: ignore[attr-defined]
    random.shuffle(down)  # type: ignore[attr-defined]
    same(fleiss_kappa(counts), fleiss_kappa(counts[np.ix_(down, across)]))


@given(st.lists(st.integers(1, 50), min_size=2, max_size=5), st.integers(2, 5))
def test_readers_who_always_agree_have_one_and_no_interval(diagonal: list[int], readers: int) -> None:
    table = np.diag(diagonal)
    assert cohen_kappa(table) == Agreement(pytest.approx(1.0), None, None, sum(diagonal))
    assert cohen_error(table) == 0
    counts = np.repeat(readers * np.eye(len(diagonal), dtype=int), diagonal, axis=0)
    assert fleiss_kappa(counts) == Agreement(pytest.approx(1.0), None, None, sum(diagonal))
    shown = observed_agreement(table)
    assert (shown.value, shown.high) == (1.0, 1.0)
    assert shown.low == pytest.approx(0.025 ** (1 / sum(diagonal)))  # so many in a row, once in 40 samples


@given(square_tables())
def test_the_kappa_of_all_is_the_weighted_mean_of_each_against_the_rest(table: Counts) -> None:
    labels = [f"kind {k}" for k in range(len(table))]
    pairs = [(labels[i], labels[j]) for i, j in np.ndindex(*table.shape) for _ in range(table[i, j])]
    tables = tables_of(pairs, labels)
    each = category_kappas(tables)
    assert list(each) == labels
    collapsed = [tables.against_rest(label) / table.sum() for label in labels]
    weights = np.array([1 - t.sum(axis=1) @ t.sum(axis=0) for t in collapsed])
    values = np.array([each[label].value if each[label].value is not None else 0.0 for label in labels])
    assert cohen_kappa(table).value == pytest.approx(weights @ values / weights.sum(), abs=1e-9)


@given(square_tables())
def test_of_two_readers_fleiss_kappa_takes_chance_from_both_together(table: Counts) -> None:
    """Scott's pi: the readers' shares averaged before they are squared."""
    k = len(table)
    cells = [np.eye(k, dtype=int)[i] + np.eye(k, dtype=int)[j] for i, j in np.ndindex(k, k) for _ in range(table[i, j])]
    shares = (table.sum(axis=0) + table.sum(axis=1)) / (2 * table.sum())
    pi = (np.trace(table) / table.sum() - shares @ shares) / (1 - shares @ shares)
    assert fleiss_kappa(cells).value == pytest.approx(pi, abs=1e-9)


@given(square_tables(), rated(fewest=2))
def test_an_interval_holds_its_value_and_ends_at_one(table: Counts, counts: Counts) -> None:
    for found in (cohen_kappa(table), fleiss_kappa(counts), observed_agreement(table)):
        if found.low is not None:
            assert -1 <= found.low <= found.value <= found.high <= 1


@settings(max_examples=50)
@given(st.integers(1, 400), st.data())
def test_a_shares_interval_is_scipys_exact_one(of: int, data: st.DataObject) -> None:
    hits = data.draw(st.integers(0, of))
    theirs = stats.binomtest(hits, of).proportion_ci(0.95, method="exact")
    assert share_interval(hits, of) == pytest.approx((theirs.low, theirs.high), abs=1e-10)


@pytest.mark.parametrize(("hits", "of"), [(0, 0), (-1, 5), (6, 5)])
def test_a_share_of_nothing_is_refused(hits: int, of: int) -> None:
    with pytest.raises(ValueError, match="a share needs"):
        share_interval(hits, of)


def covered(intervals: list[Agreement], truth: float) -> float:
    shown = [each for each in intervals if each.low is not None]
    assert len(shown) > 0.98 * len(intervals)
    return float(np.mean([each.low <= truth <= each.high for each in shown]))


@pytest.mark.parametrize("kappa", [0.0, 0.4, 0.7])
def test_cohens_interval_holds_the_true_kappa_95_times_in_100(kappa: float) -> None:
    rng = np.random.default_rng(11)
    shares = np.array([0.2, 0.3, 0.5])
    cells = kappa * np.diag(shares) + (1 - kappa) * np.outer(shares, shares)
    drawn = [cohen_kappa(rng.multinomial(150, cells.ravel()).reshape(3, 3)) for _ in range(1000)]
    assert covered(drawn, kappa) == pytest.approx(0.95, abs=0.02)


@pytest.mark.parametrize("kappa", [0.0, 0.4, 0.7])
def test_fleiss_interval_holds_the_true_kappa_95_times_in_100(kappa: float) -> None:
    """Each reader sees what is there with chance root kappa and otherwise guesses as often as it occurs: two agree by kappa."""
    rng = np.random.default_rng(12)
    shares = np.array([0.2, 0.3, 0.5])

    def drawn() -> Agreement:
        there = rng.choice(3, size=(60, 1), p=shares)
        said = np.where(rng.random((60, 3)) < np.sqrt(kappa), there, rng.choice(3, size=(60, 3), p=shares))
        return fleiss_kappa((said[:, :, None] == np.arange(3)).sum(axis=1))

    assert covered([drawn() for _ in range(500)], kappa) == pytest.approx(0.95, abs=0.025)


def test_without_subjects_there_is_no_agreement() -> None:
    nothing = Agreement(None, None, None, 0)
    for table in ([], np.zeros((0, 0)), np.zeros((3, 3))):
        assert cohen_kappa(table) == observed_agreement(table) == nothing
        assert cohen_error(table) is None
    assert fleiss_kappa([]) == fleiss_kappa(np.zeros((0, 4))) == nothing
    assert category_kappas(tables_of([])) == {}


def test_where_all_said_the_same_chance_agrees_too() -> None:
    assert cohen_kappa([[7, 0], [0, 0]]) == cohen_kappa([[7]]) == Agreement(None, None, None, 7)
    assert cohen_error([[7, 0], [0, 0]]) is None
    assert fleiss_kappa([[3, 0], [3, 0]]) == Agreement(None, None, None, 2)
    assert observed_agreement([[7, 0], [0, 0]]).value == 1


def test_one_or_two_subjects_have_no_interval() -> None:
    assert cohen_kappa([[0, 1], [0, 0]]) == Agreement(0.0, None, None, 1)
    assert fleiss_kappa([[2, 1]]) == Agreement(pytest.approx(-0.5), None, None, 1)
    assert fleiss_kappa([[3, 0], [1, 2]]) == Agreement(pytest.approx(0.25), None, None, 2)
    assert fleiss_kappa([[1, 0], [0, 1]]) == Agreement(None, None, None, 2)


def test_where_one_subject_decides_there_is_no_interval() -> None:
    assert fleiss_kappa([[3, 0], [3, 0], [2, 1]]) == Agreement(pytest.approx(-0.125), None, None, 3)


def test_readers_who_never_agree() -> None:
    assert cohen_kappa([[0, 5], [5, 0]]) == Agreement(-1.0, None, None, 10)
    assert fleiss_kappa([[1, 1]] * 6) == Agreement(-1.0, None, None, 6)
    # By hand: they say it 0.2 and 0.8 of the time, chance gives 0.32, and -0.32 / 0.68.
    lopsided = cohen_kappa([[0, 2], [8, 0]])
    assert lopsided.value == pytest.approx(-0.32 / 0.68)
    assert lopsided.low == -1


@pytest.mark.parametrize(
    ("table", "why"),
    [
        ([[1, 2]], "as many rows"),
        ([1, 2], "rows and columns"),
        ([[1, -1], [0, 1]], "whole numbers"),
        ([[0.5, 1], [1, 1]], "whole numbers"),
        ([[np.nan, 1], [1, 1]], "whole numbers"),
    ],
)
def test_what_is_no_table_is_refused(table: list[list[float]], why: str) -> None:
    with pytest.raises(ValueError, match=why):
        cohen_kappa(table)


def test_subjects_read_unequally_often_are_refused() -> None:
    with pytest.raises(ValueError, match="same number of ratings"):
        fleiss_kappa([[2, 1], [1, 1]])


def test_tables_stand_in_one_order() -> None:
    pairs = [("thrips", "aphid"), ("aphid", "aphid"), ("mite", "thrips"), ("thrips", "thrips")]
    for said in (pairs, pairs[::-1]):
        tables = tables_of(said)
        assert tables.categories == ("aphid", "mite", "thrips")
        assert tables.whole.tolist() == [[1, 0, 0], [0, 0, 1], [1, 0, 1]]
    assert tables.against_rest("thrips").tolist() == [[1, 1], [1, 1]]
    assert tables.against_rest("mite").tolist() == [[0, 1], [0, 3]]
    given_order = tables_of(iter(pairs), ("thrips", "mite", "aphid", "beetle"))
    assert given_order.categories == ("thrips", "mite", "aphid", "beetle")
    assert given_order.whole.tolist() == [[1, 0, 1, 0], [1, 0, 0, 0], [0, 0, 1, 0], [0, 0, 0, 0]]
    assert category_kappas(given_order)["beetle"] == Agreement(None, None, None, 4)


def test_categories_that_cannot_be_told_apart_or_are_unknown_are_refused() -> None:
    with pytest.raises(ValueError, match="given twice"):
        tables_of([], ("aphid", "aphid"))
    with pytest.raises(ValueError, match="no category 'mite'"):
        tables_of([("aphid", "mite")], ("aphid",))
    with pytest.raises(ValueError, match="no category 'mite'"):
        tables_of([("aphid", "aphid")]).against_rest("mite")
