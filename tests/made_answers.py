"""Answers for tests of the record: plain ones, and any that a page could send."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from cli.review.answers import ANSWERS, BASES, BODIES, FIRST_ADDED, UNAIDED, Added, Answer, Ring, SpeckId

RUN, OTHER_RUN = "r0123456789ab", "rba9876543210"
SHOT, OTHER_SHOT = "c3" * 32, "00" + "7e" * 31
SPECK = SpeckId(SHOT, RUN, 1)
PLAIN: dict[str, Any] = {
    "shot_sha256": SHOT,
    "run": RUN,
    "candidate": 1,
    "reading": 1,
    "answer": "not_insect",
    "reviewer": "Ida",
    "token": "t",
}
"""What a page sends at least."""
COLONY: dict[str, Any] = PLAIN | {
    "answer": "insect",
    "body": "colony",
    "kind": "aphid",
    "least": 30,
    "most": 50,
    "basis": "loupe",
    "ring": {"x_px": 10.5, "y_px": 20, "radius_px": 4.25},
}

ODD_TEXTS = [
    *(
        "🐛",
        "👩🏽‍🌾",
        "שלום (דג) 12",
        "א\u200fb",
        "e\u0301",
        "\u00e9",
        "\uffff",
        "\U0010ffff",
        "\u2028",
        "\ufeff",
        "\u00a0x",
    ),
    *("'); DROP TABLE answers; --", '"', "''", "\\", "%s", "%(x)s", ":name", "?", "{}", "NULL", "=1+1", "<b>&amp;</b>"),
]
TURNED = "\u202a\u202b\u202c\u202d\u202e"
LINES = st.text(st.characters(exclude_categories=("Cc", "Cs"), exclude_characters=TURNED), max_size=80)
NOTES = (
    st.lists(LINES | st.sampled_from([*ODD_TEXTS, "\n", "\t"]), max_size=6)
    .map("".join)
    .filter(lambda t: len(t) <= 2000)
)
NAMES = st.sampled_from(["Ida", "Jón Þór", *ODD_TEXTS[:6]]) | LINES.map(lambda text: "I" + text[:79])
JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.sampled_from([10**400, -(10**400), 2**31, 2**63, 0, -1])
    | st.floats()
    | st.text(max_size=90)
    | st.sampled_from([*ODD_TEXTS, "\ud800", "\x00", "\r", "\x7f", "\x85", *TURNED, "x" * 5000]),
    lambda values: st.lists(values, max_size=3) | st.dictionaries(st.text(max_size=9), values, max_size=3),
    max_leaves=6,
)
"""Whatever a JSON parser may hand over, numbers that are none and halves of letters among it."""


def answer(token: str = "t", said: str = "insect", candidate: int = 1, **more: Any) -> Answer:
    """An answer of Ida's on a speck of the one shot."""
    more = {"speck": SpeckId(SHOT, RUN, candidate), "reviewer": "Ida"} | more
    return Answer(answer=said, token=token, **more)


def added(token: str, shot: str = SHOT, run: str = RUN, **more: Any) -> Added:
    """A speck of Ida's, without a number yet."""
    place = {"x_px": 10.25, "y_px": 20.0, "length_px": 7.5, "angle_deg": -30.0}
    return Added(SpeckId(shot, run, 0), by="Ida", token=token, **place | more)


@st.composite
def meant(draw: Any) -> dict[str, Any]:
    """Fields of any answer that can be meant, but for its token."""
    said: dict[str, Any] = {
        "speck": SpeckId(draw(st.sampled_from([SHOT, OTHER_SHOT])), RUN, draw(st.sampled_from([1, 77, FIRST_ADDED]))),
        "answer": draw(st.sampled_from([*ANSWERS, ""])),
        "reviewer": draw(NAMES),
        "reading": draw(st.sampled_from([1, 2, 3])),
        "basis": draw(st.sampled_from(["", *BASES])),
        "note": draw(NOTES),
    }
    if said["answer"] == "insect":
        said |= {"kind": draw(LINES), "body": draw(st.sampled_from(["", *BODIES]))}
        said["unaided"] = draw(st.sampled_from(["", *UNAIDED]))
        if said["body"] == "colony":
            said["least"], said["most"] = sorted(draw(st.tuples(st.integers(1, 10**6), st.integers(1, 10**6))))
            said["ring"] = draw(st.none() | st.builds(Ring, _PLACES, _PLACES, st.floats(0, 1e6, **_OPEN)))
    return said


_OPEN: dict[str, Any] = {"exclude_min": True, "exclude_max": True}
_PLACES = st.floats(-1e6, 1e6, **_OPEN)
