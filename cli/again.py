"""What `score --again` does: a recorded run once more, and whether the tables agree."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from cli.batch.repeat import compare_with, place_for, read_record
from cli.exits import SOME_SHOTS_FAILED
from cli.options import Doing, ScoreOptions, as_given_before
from cli.scoring import score_call
from vision.errors import CallError


def again_call(record: Path, paths: Sequence[str], out: Path | None, options: ScoreOptions, doing: Doing) -> int:
    """Repeats the run that `record` tells of into `out`, or into a passing folder, and says whether the tables agree.

    The photographs are where the record says, or in `paths`, given in the same order as then. Exit code 1 where the tables do not
    agree, or shots failed. Raises CallError where it can't be repeated.
    """
    from cli.batch.agree_tables import read_tables

    if options != ScoreOptions():
        raise CallError("--again takes all options that change a result from the record: leave the others out.")
    told = read_record(record)
    before = read_tables(record.parent, told)
    given = as_given_before(told["call"])
    if not told.get("finished"):
        print(f"The run in {os.fspath(record)} was not ended: what it left is compared.")
    with place_for(out, record) as place:
        code = score_call(paths or told["paths"], place, given, doing, invite=out is not None)
        agrees, lines = compare_with(before, told, place)
    for line in lines:
        print(line)
    return code if agrees else SOME_SHOTS_FAILED
