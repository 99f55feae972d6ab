"""A recorded run and its repetition: the record, a place for the new results, and whether the tables of both agree."""

from __future__ import annotations

import itertools
import json
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cli.batch.manifest import MANIFEST
from cli.batch.standing import APP, EARLIER, RECORD
from vision.errors import CallError

if TYPE_CHECKING:
    from cli.batch.agree_tables import Tables

_FILES = ("profile", "guide", "ranker")


def read_record(path: Path) -> dict[str, Any]:
    """A run.json that tells of a call. Raises CallError."""
    try:
        told = json.loads(path.read_bytes())
    except OSError as error:
        raise CallError(f"{path} can't be read: {error.strerror}.") from error
    except ValueError as error:
        raise CallError(f"{path} is no run.json of this program.") from error
    if not isinstance(told, dict) or told.get("app") != APP:
        raise CallError(f"{path} is no run.json of this program.")
    if not isinstance(told.get("call"), dict) or not isinstance(told.get("paths"), list):
        raise CallError(f"{path} does not tell how it was called: it can't be repeated.")
    return told


@contextmanager
def place_for(out: Path | None, record: Path) -> Iterator[Path]:
    """Where the repetition is written: `out`, or a folder that is taken away afterwards. Raises CallError where `record` stands there."""
    if out is None:
        with tempfile.TemporaryDirectory(prefix="speckwise-again-") as folder:
            yield Path(folder) / "results"
        return
    then = record.resolve().parent
    holding = {then, then.parent.parent} if then.parent.name == EARLIER else {then}
    if out.resolve() in holding:
        raise CallError(f"{out} holds the run that is to be repeated: give another folder for --out.")
    yield out


def compare_with(before: Tables, told: Mapping[str, Any], place: Path) -> tuple[bool, list[str]]:
    """Whether the tables in `place` agree with those of the record `told`, and the sentences that say so."""
    from cli.batch.agree import compare
    from cli.batch.agree_tables import read_tables

    now = read_record(place / RECORD)
    options = told.get("options", {})
    agreement = compare(before, read_tables(place, now), options.get("min_score") or 0.0, options.get("max_flags"))
    others = [name for name in _FILES if told.get(f"{name}_sha256") != now[f"{name}_sha256"]]
    lines = [*(f"The {name} is not the one of then." for name in others), *_other_manifests(told, now)]
    return agreement.holds, [*lines, *agreement.lines()]


def _other_manifests(then: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    """A sentence for each PATH whose manifest.csv is another than then, or has come or gone."""
    digests = [record.get("manifests_sha256") or [] for record in (then, now)]
    pairs = enumerate(itertools.zip_longest(*digests), start=1)
    several = max(map(len, digests)) > 1
    return [
        f"The {f'{number}:' if several else ''}{MANIFEST} is not the one of then." for number, (a, b) in pairs if a != b
    ]
