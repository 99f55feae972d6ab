"""What a person says of a speck, as plain values: the vocabulary, what may stand together, and which word counts.

Answers are only ever added. The last one of a reading counts; the ones before it are the history. They are keyed by the photograph's
content, the run and the candidate's number, so that none can slip to another speck when the photographs are scored again.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from vision.errors import SpeckwiseError
from vision.names import INSECTS

INSECT, NOT_INSECT, LOOK_AGAIN, TAKEN_BACK = "insect", "not_insect", "look_again", ""
ANSWERS = (INSECT, NOT_INSECT, LOOK_AGAIN)
"""What a person may answer. `look_again` stays open until somebody has looked; an answer taken back is none."""
COLONY = "colony"
BODIES = ("whole", "part_with_head", "part", "skin", "egg", "pupa", "mummy", "trail", COLONY)
BASES = ("in_hand", "loupe", "picture")
UNAIDED = ("yes", "no", "not_tried")
READINGS = (1, 2, 3)
"""First, a second one that does not see the first, and a third where the two disagree."""
FIRST_ADDED = 100_001
"""Number of the first speck that a person adds to a shot; the tool's are far below."""
FROM_DESK, FROM_TABLE, FROM_EARLIER_RUN = "desk", "table", "earlier_run"
SOURCES = (FROM_DESK, FROM_TABLE, FROM_EARLIER_RUN)

LONGEST_NAME, LONGEST_KIND, LONGEST_NOTE, LONGEST_TOKEN, LONGEST_RUN = 80, 80, 2000, 80, 80
_MOST_ANIMALS = 1_000_000
_LAST_NUMBER = 2**31 - 1
"""What every database takes as the number of a candidate."""
_FAR_PX = 1e6
_LONGEST_SHOWN = 40
_TURNS_TEXT = frozenset("\u202a\u202b\u202c\u202d\u202e")
"""What turns the direction of all that follows. Marks that a text in two scripts needs (U+200E, U+200F, isolates) may stand."""


class AnswerError(SpeckwiseError):
    """An answer that can't be meant; the message is a whole sentence and names what is wrong."""


class WrongDesk(SpeckwiseError):
    """What a page sends belongs to another run than the one that is open; it is to be kept until that one is open again."""


@dataclass(frozen=True)
class SpeckId:
    """Which speck: the photograph's SHA-256 (64 hex digits), the run, and the candidate's number in the shot."""

    shot_sha256: str
    run: str
    candidate: int


@dataclass(frozen=True)
class Ring:
    """Round a colony: middle and radius in pixels of the upright picture."""

    x_px: float
    y_px: float
    radius_px: float

    def __post_init__(self) -> None:
        # Also what is no number lies in no picture.
        if not (abs(self.x_px) < _FAR_PX and abs(self.y_px) < _FAR_PX and 0 < self.radius_px < _FAR_PX):
            raise AnswerError("A ring lies round a place in the picture, with a radius above 0.")


@dataclass(frozen=True)
class Answer:
    """One answer, before it has a place in the record. Making one raises AnswerError where it can't be meant."""

    speck: SpeckId
    answer: str
    reviewer: str
    reading: int = 1
    kind: str = ""
    """Which insect, in words; '' where not said. What follows likewise, all but `basis` and `note` only of an insect."""
    body: str = ""
    basis: str = ""
    """What was looked at."""
    unaided: str = ""
    """Seen without a loupe."""
    least: int | None = None
    """Of a colony: how many at least and at most."""
    most: int | None = None
    ring: Ring | None = None
    note: str = ""
    source: str = FROM_DESK
    token: str = ""
    """Names this act: the same token brought twice is the same answer, so a lost reply can be asked for again."""

    def __post_init__(self) -> None:
        for name, value, known in (
            ("answer", self.answer, (*ANSWERS, TAKEN_BACK)),
            ("body", self.body, (*BODIES, "")),
            ("basis", self.basis, (*BASES, "")),
            ("unaided", self.unaided, (*UNAIDED, "")),
            ("source", self.source, SOURCES),
        ):
            if value not in known:
                raise AnswerError(f"{name} can't be {_shown(value)}: it is {', '.join(map(_or_empty, known))}.")
        if self.reading not in READINGS:
            raise AnswerError(f"There is no reading {self.reading}.")
        check_name(self.reviewer, "An answer needs the name of who gives it.")
        check_line("kind", self.kind, LONGEST_KIND)
        check_line("token", self.token, LONGEST_TOKEN)
        _check_text("note", self.note, LONGEST_NOTE, "\n\t")
        if self.answer != INSECT and (self.kind or self.body or self.unaided or self.least is not None or self.ring):
            raise AnswerError("Kind, body, unaided and count are said of an insect only.")
        self._check_count()

    def _check_count(self) -> None:
        if self.body != COLONY:
            if self.least is not None or self.most is not None or self.ring is not None:
                raise AnswerError("A count and a ring are given for a colony only.")
            return
        if self.least is None or self.most is None:
            raise AnswerError("A colony needs a count: how many at least, and at most.")
        if not 1 <= self.least <= self.most <= _MOST_ANIMALS:
            raise AnswerError("Of a colony's count the first number is 1 or more, and the second no smaller.")


def check_name(name: str, lacking: str) -> None:
    """Raises AnswerError where a name can't be a person's; `lacking` says so where there is nothing to see of it."""
    check_line("name", name, LONGEST_NAME)
    if not _folded(name):
        raise AnswerError(lacking)


def check_line(name: str, value: str, longest: int) -> None:
    """Raises AnswerError where a text is too long for what it is, or is not one line that can be shown."""
    _check_text(name, value, longest, "")


def _check_text(name: str, value: str, longest: int, may_stand: str) -> None:
    if len(value) > longest:
        raise AnswerError(f"The {name} is longer than {longest} characters.")
    # Half a surrogate pair can't be stored; control characters and what turns the direction of text would garble a page.
    if any((unicodedata.category(c) in ("Cc", "Cs") and c not in may_stand) or c in _TURNS_TEXT for c in value):
        raise AnswerError(f"The {name} holds a control character.")


def _shown(value: str) -> str:
    return repr(value if len(value) <= _LONGEST_SHOWN else value[:_LONGEST_SHOWN] + "...")


def _or_empty(word: str) -> str:
    return word or "or empty"


@dataclass(frozen=True)
class Said:
    """An answer in the record. `number` decides what came last, not a clock."""

    number: int
    at: str
    """RFC 3339, UTC, as the server's clock said."""
    clock: str
    """A sentence where that clock can't be right; ''."""
    answer: Answer


@dataclass(frozen=True)
class Added:
    """A speck that the tool missed and a person added, in pixels of the upright picture."""

    speck: SpeckId
    """`candidate` is 0 until the record has given it a number."""
    by: str
    x_px: float
    y_px: float
    length_px: float
    angle_deg: float
    """0 along x, clockwise as seen; 0 where only a point was shown."""
    token: str = ""

    def __post_init__(self) -> None:
        check_name(self.by, "An added speck needs the name of who saw it.")
        check_line("token", self.token, LONGEST_TOKEN)
        if not (abs(self.x_px) < _FAR_PX and abs(self.y_px) < _FAR_PX and 0 <= self.length_px < _FAR_PX):
            raise AnswerError("An added speck lies in the picture and has a length.")
        if not abs(self.angle_deg) <= 360:
            raise AnswerError("The angle of an added speck is one of at most 360 degrees.")


Key = tuple[SpeckId, int]
"""A speck and a reading."""


def last_words(said: Iterable[Said]) -> dict[Key, Said]:
    """For each speck and reading what counts: of the answers that stand the one with the highest number.

    Taking back withdraws the newest standing answer of the same person, so that what was said before it counts again.
    """
    standing: dict[Key, list[Said]] = {}
    for each in sorted(said, key=lambda each: each.number):
        words = standing.setdefault((each.answer.speck, each.answer.reading), [])
        if each.answer.answer != TAKEN_BACK:
            words.append(each)
            continue
        own = [word for word in words if same_person(word.answer.reviewer, each.answer.reviewer)]
        if own:
            words.remove(own[-1])
    return {key: words[-1] for key, words in standing.items() if words}


def without_withdrawn(added: Iterable[Added], said: Iterable[Said]) -> list[Added]:
    """Added specks but those whose every answer was taken back: they were added in error. One never answered on stays, and is open."""
    said = list(said)
    answered, standing = {each.answer.speck for each in said}, {key[0] for key in last_words(said)}
    return [each for each in added if each.speck in standing or each.speck not in answered]


def same_person(one: str, other: str) -> bool:
    """Whether two names are one person's, as far as letters tell: case, how accents and wide letters are coded, spaces at the ends or
    more than one, and what is not seen at all do not matter."""
    return _folded(one) == _folded(other)


def _folded(name: str) -> str:
    # Compatibility caseless matching, as Unicode defines it (section 3.13, D146).
    once = unicodedata.normalize("NFKD", unicodedata.normalize("NFD", name).casefold())
    folded = unicodedata.normalize("NFKD", once.casefold())
    return " ".join("".join(c for c in folded if unicodedata.category(c) != "Cf").split())


def is_open(word: Said | None) -> bool:
    """Whether somebody still has to look: no answer, or `look_again`."""
    return word is None or word.answer.answer == LOOK_AGAIN


def answer_of(fields: Mapping[str, object]) -> Answer:
    """An answer from plain values, as a page sends them: keys as in Answer, `shot_sha256`, `run` and `candidate` beside them.

    Raises AnswerError where a value is missing, unknown, or of another kind.
    """
    known = {"shot_sha256", "run", "candidate", *_TEXTS, "least", "most", "ring", "answer", "reviewer", "reading"}
    unknown = sorted(set(fields) - known)
    if unknown:
        raise AnswerError(f"An answer has no {_shown(unknown[0])}.")
    ring, reading = fields.get("ring"), _number(fields, "reading")
    return Answer(
        speck=speck_of(fields),
        answer=_text(fields, "answer"),
        reviewer=_text(fields, "reviewer").strip(),
        reading=1 if reading is None else reading,
        ring=None if ring is None else _ring(ring),
        least=_number(fields, "least"),
        most=_number(fields, "most"),
        **{name: _text(fields, name).strip() for name in _TEXTS}
        | {"kind": one_spelling(_text(fields, "kind").strip())},
    )


_SHA256 = re.compile("[0-9a-f]{64}")
_TEXTS = ("kind", "body", "basis", "unaided", "note", "source", "token")


def one_spelling(kind: str) -> str:
    """A kind has no closed list; those with a name here are written one way."""
    return kind.casefold() if kind.casefold() in INSECTS else kind


def speck_of(fields: Mapping[str, object]) -> SpeckId:
    """The speck that plain values name. Raises AnswerError."""
    sha256, run, candidate = _text(fields, "shot_sha256"), _text(fields, "run"), _number(fields, "candidate")
    check_line("run", run, LONGEST_RUN)
    if not _SHA256.fullmatch(sha256) or not run or candidate is None or not 0 <= candidate <= _LAST_NUMBER:
        raise AnswerError("An answer names its speck by shot_sha256, run and candidate.")
    return SpeckId(sha256, run, candidate)


def _text(fields: Mapping[str, object], name: str) -> str:
    value = fields.get(name, FROM_DESK if name == "source" else "")
    if not isinstance(value, str):
        raise AnswerError(f"{name} is a text.")
    return value


def _number(fields: Mapping[str, object], name: str) -> int | None:
    value = fields.get(name)
    if value is None:
        return None
    if type(value) is not int:
        raise AnswerError(f"{name} is a whole number.")
    return value


def _ring(value: object) -> Ring:
    names = ("x_px", "y_px", "radius_px")
    if isinstance(value, Mapping) and set(value) == set(names):
        parts = [value[name] for name in names]
        # Before they are made floats: a whole number may be too large for one.
        if all(type(part) in (int, float) and abs(part) < _FAR_PX for part in parts):
            return Ring(*map(float, parts))
    raise AnswerError("A ring has x_px, y_px and a radius_px above 0.")
