"""House rules for tests: a plain one, and any that an authority could write."""

from __future__ import annotations

import functools
from dataclasses import replace
from datetime import date
from typing import Any

from hypothesis import strategies as st

from cli.lots.per import Per
from cli.lots.rule import Colonies, Counting, HouseRule, Scan, Seen, Signature, signed
from cli.lots.rule_chain import Chain, Check, Look, Part
from cli.lots.rule_steps import Step, Then
from cli.lots.rule_text import folded
from cli.review.answers import BASES, BODIES

DAY = date(2026, 3, 15)
FIRST, LAST, SIGNED_ON = date(2026, 3, 1), date(2026, 3, 31), date(2026, 2, 20)
SCAN = Scan("page.png", "5a" * 32)
GO_ON, WASH, HOLD, STOP = (
    Step(0, 1, "to the kitchen", Then.GO_ON),
    Step(2, 4, "rinse, look again", Then.WASH_AND_CHECK),
    Step(5, 9, "call us", Then.HOLD),
    Step(10, None, "send it back", Then.STOP),
)
DRAFT = HouseRule(
    authority="Mudlark Table",
    text="As agreed at our table.",
    counting=Counting(frozenset({"whole", "part_with_head", "colony"}), frozenset(BASES)),
    steps=(GO_ON, WASH, HOLD, STOP),
    per=Per.LOT,
    from_date=FIRST,
    until_date=LAST,
    most_rechecks=2,
    when_to_stop="back to the field",
)
"""Invented, like all here; not signed."""


def draft(**changes: Any) -> HouseRule:
    """The plain rule with these changes, not signed."""
    return replace(DRAFT, **changes)


def rule(**changes: Any) -> HouseRule:
    """The plain rule with these changes, signed."""
    return signed(replace(DRAFT, **changes), "R. Reed", SIGNED_ON, SCAN)


RULE = rule()


def counting(**changes: Any) -> HouseRule:
    """The plain rule with these changes of what counts, signed."""
    return rule(counting=replace(DRAFT.counting, **changes))


def check(number: int, *counts: Any, by: HouseRule | None = RULE, **changes: Any) -> Check:
    """A check: each of `counts` is a number, or least and most and perhaps how many can't be judged, of one part."""
    parts = tuple(
        Part(f"part {at}", *((each, each) if isinstance(each, int) else each))
        for at, each in enumerate(counts, start=1)
    )
    plain: dict[str, Any] = {
        "on": DAY,
        "look": Look.FIRST if number == 1 else Look.AFTER_WASH,
        "per": Per.LOT if len(parts) == 1 else Per.SAMPLE,
        "open_flags": 0,
        "digest": by.digest if by else "",
    }
    return Check(number=number, parts=parts, **plain | changes)


def chain(*counts: Any, by: HouseRule | None = RULE, **changes: Any) -> Chain:
    """Checks 1, 2, … that counted these, each as one part, all but the first after a wash."""
    return Chain("onion", tuple(check(at, each, by=by, **changes) for at, each in enumerate(counts, start=1)))


_MARKS = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
ODD = [
    *("שולחן הבדיקה", 'בד"ץ דוגמה', "a \u2067ב\u2069 c", "é", "e\u0301", "蟲三隻", "🐛", "\ufeffx", "\u00a0x"),
    *(
        '"',
        '""',
        '"""',
        '""""""',
        "\\",
        '\\"',
        "\\\\",
        "'''",
        "#",
        "[rule]",
        "x = 1",
        "<b>",
        "{}",
        "%s",
        "\\u0041",
        "\\N",
    ),
]
_CHARACTERS = st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp"), exclude_characters=_MARKS)


@functools.cache
def lines(longest: int) -> st.SearchStrategy[str]:
    """One line with something to see."""
    free = st.lists(st.text(_CHARACTERS, max_size=6) | st.sampled_from(ODD), min_size=1, max_size=3).map("".join)
    return free.filter(lambda line: len(line) <= longest and folded(line) != "" and folded(line) != "all")


TEXTS = (
    st.lists(lines(200) | st.sampled_from(["", " ", "\t", *ODD]), min_size=1, max_size=4)
    .map("\n".join)
    .filter(lambda text: folded(text) != "")
)


@functools.cache
def names() -> st.SearchStrategy[tuple[str, ...]]:
    """Names, none twice; none at all: all."""
    return st.lists(lines(80), max_size=2, unique_by=folded).map(tuple)


@functools.cache
def countings() -> st.SearchStrategy[Counting]:
    """What counts, in any way."""
    return st.builds(
        Counting,
        st.frozensets(st.sampled_from(BODIES), min_size=1),
        st.frozensets(st.sampled_from(BASES), min_size=1),
        names() | st.just(("aphid",)),
        st.none() | st.integers(1, 100) | st.floats(0.01, 100),
        st.sampled_from(Seen),
        st.sampled_from(Colonies),
    )


@st.composite
def ladders(draw: st.DrawFn, per: Per, thens: st.SearchStrategy[Then]) -> tuple[Step, ...]:
    """Steps of a rule: each number has one."""
    tenths = per == Per.HUNDRED_GRAMS
    ends = draw(
        st.lists(st.integers(0, 40) if not tenths else st.integers(0, 40).map(lambda n: n / 4), max_size=5, unique=True)
    )
    low = 0.0
    steps: list[Step] = []
    for end in [*sorted(ends), None]:
        steps.append(Step(low, end, draw(lines(60)), draw(thens), above=tenths and bool(steps)))
        low = 0 if end is None else end if tenths else end + 1
    return tuple(steps)


@st.composite
def drafts(draw: st.DrawFn) -> HouseRule:
    """Any rule, not signed."""
    per = draw(st.sampled_from(Per))
    steps = draw(ladders(per, st.sampled_from(Then)))
    days = sorted(draw(st.lists(st.dates(), min_size=2, max_size=2)))
    again = any(step.then == Then.WASH_AND_CHECK for step in steps)
    return HouseRule(
        authority=draw(lines(120)),
        text=draw(TEXTS),
        counting=draw(countings()),
        steps=steps,
        per=per,
        from_date=days[0],
        until_date=days[1],
        produce=draw(names()),
        most_rechecks=draw(st.integers(1, 20)) if again else 0,
        when_to_stop=draw(lines(160)) if again else "",
    )


@st.composite
def rules(draw: st.DrawFn) -> HouseRule:
    """Any rule, signed or not, or changed since."""
    draft = draw(drafts())
    digest = draw(st.sampled_from([None, draft.digest, "0" * 64]))
    if digest is None:
        return draft
    name = draw(lines(80)).replace("/", "-").replace("\\", "-")
    on = draw(st.dates(max_value=draft.until_date))
    return replace(draft, signature=Signature(draw(lines(80)), on, Scan(name, "0f" * 32), digest))
