"""Each step of the line against its frozen numbers: when the end moves, this shows which step moved."""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any

import pytest
from frozen import HERE, NAMES, steps


@lru_cache(maxsize=2)
def now_and_then(name: str) -> tuple[dict[str, Any], dict[str, Any]]:
    return steps(name), json.loads((HERE / f"{name}.json").read_text(encoding="utf-8"))


STEPS = ("decode", "light", "surfaces", "places", "glances", "patches", "measures", "features", "quality")


@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("name", NAMES)
def test_step_is_as_frozen(name: str, step: str) -> None:
    now, then = now_and_then(name)
    flat_now, flat_then = _flat(now[step]), _flat(then[step])
    assert len(flat_now) == len(flat_then)
    # Another CPU or decoder may differ in the last digits; a step that has changed differs in the first.
    assert flat_now == pytest.approx(flat_then, rel=0.02, abs=0.005, nan_ok=True)


@pytest.mark.parametrize("name", NAMES)
def test_rows_are_as_frozen(name: str) -> None:
    now, then = now_and_then(name)
    assert len(now["rows"]) == len(then["rows"])
    for row, frozen in zip(now["rows"], then["rows"], strict=True):
        for cell, was in zip(row, frozen, strict=True):
            try:
                assert float(cell) == pytest.approx(float(was), rel=0.03, abs=0.02)
            except ValueError:
                assert cell == was


def _flat(value: Any) -> list[float]:
    return [v for part in value for v in _flat(part)] if isinstance(value, list) else [float(value)]
