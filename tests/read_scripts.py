"""What stands in a script: its text literals, and its calls of a function, told apart from comments and patterns. Enough for our own."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

_BEFORE_A_PATTERN = re.compile(r"(^|[(,=:\[!&|?{};\n]|\breturn)\s*$")


@dataclass(frozen=True)
class Piece:
    """A stretch of a script: code as it stands, or a text literal. Of a template only what comes before its first value is `text`."""

    kind: str
    text: str
    whole: bool = True
    """False of a template with values in it."""


def pieces(source: str) -> Iterator[Piece]:
    """The script in order, without comments and patterns; code within a template comes after it."""
    at = begun = 0
    while at < len(source):
        end, piece = _literal(source, at)
        if end == at:
            at += 1
            continue
        yield Piece("code", source[begun:at])
        if piece is not None:
            yield piece
            if piece.kind == "template":
                for value in _values(source[at + 1 : end - 1]):
                    yield from pieces(value)
        at = begun = end
    yield Piece("code", source[begun:])


def _literal(source: str, at: int) -> tuple[int, Piece | None]:
    """Where what begins at `at` ends: a comment or pattern (no piece) or a text; `at` itself for plain code."""
    two, one = source[at : at + 2], source[at]
    if two == "//":
        return source.find("\n", at) % (len(source) + 1), None
    if two == "/*":
        return source.index("*/", at) + 2, None
    if one == "/" and _BEFORE_A_PATTERN.search(source[max(0, at - 40) : at]):
        match = re.compile(r"/(\\.|\[(\\.|[^\]])*\]|[^/\\\n])+/[a-z]*").match(source, at)
        assert match, source[at : at + 40]
        return match.end(), None
    if one in "\"'":
        match = re.compile(rf"{one}((\\.|[^{one}\\\n])*){one}").match(source, at)
        assert match, source[at : at + 40]
        return match.end(), Piece("text", match.group(1))
    if one == "`":
        end = _template_end(source, at)
        inside = source[at + 1 : end - 1]
        return end, Piece("template", inside.split("${")[0], "${" not in inside)
    return at, None


def _template_end(source: str, at: int) -> int:
    at += 1
    while source[at] != "`":
        if source[at : at + 2] == "${":
            at = _closing(source, at + 2)
        at += 2 if source[at] == "\\" else 1
    return at + 1


def _closing(source: str, at: int) -> int:
    """Where the bracket closes that stands open at `at`."""
    depth = 0
    while True:
        end, _ = _literal(source, at)
        if end > at:
            at = end
            continue
        if source[at] in "([{":
            depth += 1
        elif source[at] in ")]}":
            if depth == 0:
                return at
            depth -= 1
        at += 1


def _values(template: str) -> Iterator[str]:
    at = template.find("${")
    while at >= 0:
        end = _closing(template, at + 2)
        yield template[at + 2 : end]
        at = template.find("${", end)


def calls(source: str, name: str) -> Iterator[list[str]]:
    """The arguments of each call of a function, as they are written."""
    for match in re.finditer(rf"(?<![\w.]){name}\(", source):
        if not re.search(r"function\s+$", source[: match.start()]):
            yield _arguments(source[match.end() : _closing(source, match.end())])


def _arguments(text: str) -> list[str]:
    found, begun, at, depth = [], 0, 0, 0
    while at < len(text):
        end, _ = _literal(text, at)
        if end > at:
            at = end
            continue
        depth += (text[at] in "([{") - (text[at] in ")]}")
        if text[at] == "," and depth == 0:
            found.append(text[begun:at].strip())
            begun = at + 1
        at += 1
    return [*found, text[begun:].strip()]


def named(literal: str) -> set[str] | None:
    """The names that an object is written with; None where others come in by a spread, or where it is no object at all."""
    if not literal.startswith("{"):
        return None
    parts = [part for part in _arguments(literal[1:-1]) if part]
    if any(part.startswith("...") for part in parts):
        return None
    return {part.split(":")[0].strip() for part in parts}
