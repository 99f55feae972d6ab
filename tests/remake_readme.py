"""Puts what is made from the code into the README: the column tables. `python tests/remake_readme.py`."""

from __future__ import annotations

import re
from pathlib import Path

from vision.files import write_text
from vision.table import CANDIDATES, SHOTS, describe

README = Path(__file__).parent.parent / "README.md"
_TABLES = {"candidates": CANDIDATES, "shots": SHOTS}


def remade(text: str) -> str:
    """The README with its column tables as the code has them."""
    for name, columns in _TABLES.items():
        pattern = rf"(<!-- columns: {name} -->\n)(?:\|.*\n)*"
        text = re.sub(pattern, lambda found, c=columns: found[1] + describe(c), text)  # type: ignore[misc]
    return text


if __name__ == "__main__":
    write_text(README, remade(README.read_text(encoding="utf-8")))
