"""What is left to do: which shots stand already, which are another's twin, which are to be scored. Decides, does nothing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from cli.batch.folder import Source
from cli.batch.ledger import Entry, Ledger


@dataclass(frozen=True)
class Looked:
    """A source and the digest of its bytes; '' where it could not be read, or where nothing else can have the same bytes."""

    source: Source
    size_bytes: int
    sha256: str


@dataclass(frozen=True)
class Twin:
    """A source with the same bytes as another shot, which is not scored again."""

    looked: Looked
    first: str
    """The other shot."""


@dataclass(frozen=True)
class Plan:
    """Every source of a call is in one of the three, in the order of the call."""

    keep: tuple[Entry, ...]
    score: tuple[Looked, ...]
    twins: tuple[Twin, ...]


def make_plan(looked: Sequence[Looked], ledger: Ledger, stands: Callable[[Entry], bool]) -> Plan:
    """Sorts the sources of a call; `stands` says whether what was written for an entry is still there."""
    now = {each.source.shot: each.sha256 for each in looked}
    firsts: dict[str, str] = {}
    for entry in ledger:
        if not entry.duplicate_of and now.get(entry.shot, entry.sha256) == entry.sha256 and _good(entry, stands):
            firsts.setdefault(entry.sha256, entry.shot)
    keep: list[Entry] = []
    score: list[Looked] = []
    twins: list[Twin] = []
    for each in looked:
        shot, sha256 = each.source.shot, each.sha256
        first = firsts.setdefault(sha256, shot) if sha256 else shot
        twin_of = "" if first == shot else first
        stood = ledger.get(shot, sha256)
        if stood and stood.duplicate_of in {"", twin_of} and _good(stood, stands):
            keep.append(stood)
        elif twin_of:
            twins.append(Twin(each, twin_of))
        else:
            score.append(each)
    return Plan(tuple(keep), tuple(score), tuple(twins))


def _good(entry: Entry, stands: Callable[[Entry], bool]) -> bool:
    return bool(entry.sha256) and not entry.error and stands(entry)
