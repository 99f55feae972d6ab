"""Sentences and small forms that more than one command says."""

from __future__ import annotations


def count(number: int, noun: str) -> str:
    """A number with its noun, in the plural where it must be: '1 shot', '2 shots'."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def printable(name: str) -> str:
    """A file name that can't move the cursor or colour the terminal: control characters written out."""
    return "".join(letter if letter.isprintable() else letter.encode("unicode_escape").decode() for letter in name)
