"""Reads the published figures that stand in tests/outside/, each row with its source beside it."""

from __future__ import annotations

import csv
from pathlib import Path

HERE = Path(__file__).parent / "outside"


def rows(name: str) -> list[dict[str, str]]:
    """The rows of tests/outside/NAME.csv: topic, input, expected, tolerance, source, how_known."""
    with (HERE / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
