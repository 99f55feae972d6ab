"""The catalogue of sentences: whatever a page, a template or a command asks for is there, nothing else is, and values fit."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from string import Formatter
from typing import Any

import pytest
from made_desk import desk_of, made_folder
from read_scripts import calls, named, pieces
from scored_folder import Made
from test_house import forbidden

from cli.batch.belonging import BELONGS
from cli.lots.decision import DECIDED, HELD
from cli.lots.entries import ENTRIES
from cli.review import desk as desk_module
from cli.review import lot_forms, pictures, rule_form, second
from cli.review.answers import ANSWERS, BASES, BODIES, READINGS, UNAIDED
from cli.review.counts import Counts
from cli.review.kinds import kinds_offered
from cli.review.shelf import DeskShot, Shelf
from cli.review.words import catalogue, read_catalogue, say, say_many
from vision.guides import guide_names

HERE = Path(__file__).parent.parent / "cli/review"
SCRIPTS = {path.name: path.read_text(encoding="utf-8") for path in sorted((HERE / "static").glob("*.js"))}
TEMPLATES = {path.name: path.read_text(encoding="utf-8") for path in sorted((HERE / "templates").iterdir())}
MODULES = {path.name: path.read_text(encoding="utf-8") for path in sorted(HERE.glob("*.py"))}
WORDS = catalogue()
PLURAL_FORMS = {"en": {"one", "other"}}
"""Categories of whole numbers that a language tells apart (Unicode CLDR, plural rules)."""
_PLURAL = re.compile(r"^(\w+\.\w+)\.(zero|one|two|few|many|other)$")
PLURALS = {match.group(1) for key in WORDS if (match := _PLURAL.match(key))}
TABLES = {key.split(".")[0] for key in WORDS if "." in key}
_KEY, _PREFIX = re.compile(r"^[a-z]+\.[a-z0-9_]+$"), re.compile(r"^[a-z]+\.[a-z_]*$")
LETTERS = set(
    re.findall(r"^  (\w+)[,:]", SCRIPTS["keys.js"].split("const LETTERS = {")[1].split("\n};")[0], re.MULTILINE)
)
FORMS = {**lot_forms.FORMS, **rule_form.FORMS}
LISTS = {
    "ask.answer_": set(ANSWERS),
    "rows.mark_": set(ANSWERS),
    "key.": LETTERS | {"help"},
    "keys.": LETTERS,
    "start.reading_": {str(reading) for reading in READINGS},
    "body.": set(BODIES),
    "basis.": set(BASES),
    "unaided.": set(UNAIDED),
    "supervisor.": {second.AGREED, second.ONE_READING, second.AWAITED, second.DISAGREED, second.DECIDED, second.OPEN},
    "trouble.": {pictures.MISSING, pictures.BROKEN, pictures.REPLACED},
    "field.": {f"{form}_{field.name}" for form, fields in FORMS.items() for field in fields},
    "form.": set(FORMS),
    "about.": set(FORMS),
    "entry.": set(ENTRIES),
    "state.": {HELD, DECIDED},
    "belongs.": set(BELONGS),
    "part.": {name for name, _ in rule_form.PARTS},
    "paper.": {"a4", "letter"},
    "kind.": {key.removeprefix("kind.") for key in WORDS if key.startswith("kind.")},
}
"""Keys that are put together from a beginning and a value: which values there are."""


def in_scripts() -> Iterator[tuple[str, bool]]:
    """Keys, and beginnings of keys (True), that scripts hold."""
    for source in SCRIPTS.values():
        for piece in pieces(source):
            if piece.kind != "code" and piece.whole and _KEY.match(piece.text):
                yield piece.text, False
            elif piece.kind == "template" and not piece.whole and _PREFIX.match(piece.text):
                yield piece.text, True
        for first, *_ in calls(source, "wordFor"):
            if first.startswith('"'):
                yield first.strip('"') + ".", True


def in_templates() -> Iterator[tuple[str, bool]]:
    for source in TEMPLATES.values():
        for text, joined in re.findall(r'\bw(?:\.get\(|\[)"([^"]+)"( ~ )?', source):
            yield text, bool(joined)
        yield from ((name, False) for name in re.findall(r"\bw\.(?!get\b)(\w+)", source))


def in_modules() -> Iterator[tuple[str, bool]]:
    for source in MODULES.values():
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.JoinedStr) and node.values and isinstance(node.values[0], ast.Constant):
                text = str(node.values[0].value)
                if _PREFIX.match(text) and text.split(".")[0] in TABLES:
                    yield text, True
            elif isinstance(node, ast.Constant) and isinstance(node.value, str) and _KEY.match(node.value):
                yield from ((node.value, False) for table in TABLES if table == node.value.split(".")[0])


def in_forms() -> Iterator[tuple[str, bool]]:
    """What may be chosen in the fields of forms: each stands under the table that its field names."""
    for fields in FORMS.values():
        yield from ((f"{field.table}.{value}", False) for field in fields for value in field.choices if value)


USED = [*in_scripts(), *in_templates(), *in_modules(), *in_forms()]


class TestKeys:
    def test_the_look_for_them_sees_them(self) -> None:
        assert {"start.failed", "whole.ask", "ending.open_column", "saving.lost"} <= {key for key, _ in in_scripts()}
        assert {("ask.answer_", True), ("kind.", True), ("key.", True)} <= set(in_scripts())
        assert {("page.title", False), ("body.", True), ("who_decides", False)} <= set(in_templates())
        assert {("call.open", False), ("supervisor.", True), ("trouble.", True)} <= set(in_modules())
        assert {"start.failed", "ending.open", "call.stopped"} <= PLURALS

    def test_whatever_is_asked_for_is_there(self) -> None:
        # What a browser keeps is named by our own name.
        begun = {key for key, joined in USED if joined} - {"speckwise."}
        assert begun == set(LISTS), "each beginning has its list of values above"
        whole = {key for key, joined in USED if not joined}
        assert sorted(key for key in whole if key not in WORDS and key not in PLURALS) == []
        put_together = {start + value for start in begun for value in LISTS[start]}
        assert sorted(put_together - set(WORDS)) == []

    def test_nothing_else_is(self) -> None:
        used = {key for key, joined in USED if not joined}
        used |= {start + value for start in LISTS for value in LISTS[start]}
        used |= {f"{base}.{form}" for base in PLURALS & used for form in PLURAL_FORMS[WORDS["language"]]}
        assert sorted(set(WORDS) - used) == []

    def test_calls_name_what_goes_by_number_and_what_does_not(self) -> None:
        for source in SCRIPTS.values():
            for one, base in (("say", False), ("sayMany", True)):
                for first, *_ in calls(source, one):
                    for key in keys_in(first):
                        assert (key in PLURALS) is base, key

    def test_each_that_goes_by_number_has_the_forms_of_its_language(self) -> None:
        for base in PLURALS:
            forms = {key.rpartition(".")[2] for key in WORDS if key.startswith(f"{base}.")}
            assert forms == PLURAL_FORMS[WORDS["language"]], base
            assert base not in WORDS


def keys_in(argument: str) -> list[str]:
    """Keys that an argument may come to: one, or one of two."""
    return [piece.text for piece in pieces(argument) if piece.kind == "text" and _KEY.match(piece.text)]


def values_of(key: str) -> set[str]:
    """What is put into a sentence."""
    return {name for _, name, _, _ in Formatter().parse(WORDS[key]) if name is not None}


def wanted(key: str) -> set[str]:
    return (
        set().union(*(values_of(f"{key}.{form}") for form in PLURAL_FORMS["en"])) if key in PLURALS else values_of(key)
    )


def told_whole(tmp_path: Path) -> dict[str, set[str]]:
    """What the desk tells in one piece, and a script hands on as it is: the names in it."""
    answered = set(desk_module._OF_ANSWER)
    with desk_of(made_folder(tmp_path, [Made("a.jpg", 1)])) as desk:
        opening = set(desk.opening())
    counts = set(Counts.__dataclass_fields__)
    return {
        "told.resembles": set(desk_module._TOLD),
        "told.why": set(desk_module._TOLD),
        "told.order": set(desk_module._TOLD),
        "page.version": opening,
        "filter.sample_of": set(desk_module._OF_SHOT),
        "ending.animals_range": counts,
        "ask.earlier": answered | {"run", "at", "answer"},
    }


class TestValues:
    def test_scripts_give_what_is_put_in(self, tmp_path: Path) -> None:
        whole = told_whole(tmp_path)
        seen = set()
        for source in SCRIPTS.values():
            for function, own in (("say", set()), ("sayMany", {"n"})):
                for first, *rest in calls(source, function):
                    for key in keys_in(first):
                        given = rest[len(own) :]
                        names = named(given[0]) if given else set()
                        if names is None:
                            seen.add(key)
                            names = whole[key]
                        assert wanted(key) <= names | own, key
        assert seen == set(whole)

    def test_modules_give_what_is_put_in(self) -> None:
        checked = 0
        for source in MODULES.values():
            for node in ast.walk(ast.parse(source)):
                if isinstance(node, ast.Call) and ast.unparse(node.func) in ("say", "say_many") and len(node.args) > 1:
                    argument = node.args[1]
                    given = {str(each.arg) for each in node.keywords}
                    if isinstance(argument, ast.Constant):
                        own = {"n"} if ast.unparse(node.func) == "say_many" else set()
                        assert wanted(str(argument.value)) == given | own, argument.value
                        assert (argument.value in PLURALS) is bool(own)
                        checked += 1
        assert checked > 15

    def test_templates_give_what_is_put_in(self) -> None:
        for source in TEMPLATES.values():
            for key, given in re.findall(r'\bw\["([^"]+)"\](?:\.format\(([^)]*)\))?', source):
                if key in WORDS:
                    assert wanted(key) == set(re.findall(r"(\w+)=", given)), key

    def test_lists_take_no_values(self) -> None:
        assert [start + value for start in LISTS for value in LISTS[start] if values_of(start + value)] == []

    def test_forms_of_one_sentence_take_the_same_values(self) -> None:
        for base in PLURALS:
            assert values_of(f"{base}.one") == values_of(f"{base}.other"), base

    def test_values_are_names_alone(self) -> None:
        # What a script puts in and what Python does mean the same only for these.
        for key, text in WORDS.items():
            assert re.sub(r"\{[a-z]\w*\}", "", text).count("{") == 0, key
            assert not any(spec or conversion for _, _, spec, conversion in Formatter().parse(text)), key


class TestWords:
    def test_every_word_that_a_person_can_choose_has_one(self) -> None:
        for table, values in (("body", BODIES), ("basis", BASES), ("unaided", UNAIDED)):
            assert [value for value in values if f"{table}.{value}" not in WORDS] == []
            assert {key for key in WORDS if key.startswith(f"{table}.")} == {f"{table}.{value}" for value in values}
        for answer in ANSWERS:
            assert WORDS[f"ask.answer_{answer}"]

    @pytest.mark.parametrize("guide", ["", *guide_names()])
    def test_every_kind_that_is_offered_has_one(self, guide: str) -> None:
        shot = DeskShot({"produce": guide}, "", "", ())
        offered = kinds_offered(Shelf(Path("unused"), "r0123456789ab", "0.1.0", (shot,)))
        assert [kind for kind in offered if f"kind.{kind}" not in WORDS] == []
        assert len(set(offered)) == len(offered)
        assert not set(offered) & set(BODIES), "what is a body is said there"
        assert offered[:6] == ["aphid", "thrips", "caterpillar", "larva", "mite", "gnat"], (
            "keys stay where fingers know them"
        )

    def test_none_is_forbidden(self) -> None:
        assert {key: forbidden(text) for key, text in WORDS.items() if forbidden(text)} == {}

    def test_letters_are_one_for_each_act(self) -> None:
        letters = {act: WORDS[f"key.{act}"] for act in LETTERS}
        assert len({letter.lower() for letter in letters.values()}) == len(letters)
        for act, letter in letters.items():
            assert len(letter) == 1, act
            assert letter not in "0123456789+-−=?", act

    def test_the_legend_tells_the_marks(self) -> None:
        for answer in ANSWERS:
            assert f"{WORDS[f'rows.mark_{answer}']} {WORDS[f'ask.answer_{answer}']}" in WORDS["rows.legend"]

    def test_none_is_empty_or_has_loose_ends(self) -> None:
        for key, text in WORDS.items():
            assert text == text.strip(), key
            assert text, key
            assert "  " not in text, key

    def test_the_language_is_said(self) -> None:
        assert re.fullmatch(r"[a-z]{2,3}(-[A-Za-z0-9]+)*", WORDS["language"])
        assert WORDS["direction"] in ("ltr", "rtl")

    def test_a_language_that_there_is_none_of(self) -> None:
        with pytest.raises(FileNotFoundError):
            catalogue("xx")


class TestReading:
    def test_tables_become_keys_with_dots(self) -> None:
        words = read_catalogue('language = "xx"\n[a]\nb = "{n} c"\nd.one = "{n} e"\nd.other = "{n} es"\n')
        assert {key: words[key] for key in ("language", "a.b", "a.d.one", "a.d.other")} == {
            "language": "xx",
            "a.b": "{n} c",
            "a.d.one": "{n} e",
            "a.d.other": "{n} es",
        }
        assert say(words, "a.b", n=3) == "3 c"
        assert [say_many(words, "a.d", n) for n in (0, 1, 2)] == ["0 es", "1 e", "2 es"]
        with pytest.raises(KeyError):
            say(words, "a.x")

    def test_braces_in_what_is_put_in_stay(self) -> None:
        words: dict[str, Any] = {"a": "{name} is here"}
        assert say(words, "a", name="{n}{0}") == "{n}{0} is here"


@pytest.mark.parametrize("name", sorted(SCRIPTS))
def test_no_sentence_stands_in_a_script(name: str) -> None:
    literals = [piece.text for piece in pieces(SCRIPTS[name]) if piece.kind != "code"]
    assert [text for text in literals if " " in text.strip() and re.search(r"[A-Z]", text)] == []
    # One word that is shown would stand where text is set.
    shown = re.findall(r"(?:textContent|ariaLabel|title|placeholder|alt) = [\"'`](\w[^\"'`]*)", SCRIPTS[name])
    shown += re.findall(r"setAttribute\(\"aria-label\", [\"'`](\w[^\"'`]*)", SCRIPTS[name])
    assert shown == []


@pytest.mark.parametrize("name", sorted(TEMPLATES))
def test_no_sentence_stands_in_a_template(name: str) -> None:
    text = re.sub(r"\{\{.*?\}\}|\{%.*?%\}|\{#.*?#\}|<kbd>.*?</kbd>|<[^>]*>", " ", TEMPLATES[name], flags=re.DOTALL)
    assert re.findall(r"[A-Za-z]{2,}", text) == []


class TestReadingScripts:
    """That the look into scripts sees what it should."""

    def test_literals_without_comments_and_patterns(self) -> None:
        source = 'a = "b"; // \'c\'\n/* "d" */ e = \'f\\\'g\'; h = /"i"/g.test(j) ? 1 / 2 / 3 : `k ${l("m")} n`;'
        found = [(piece.kind, piece.text) for piece in pieces(source) if piece.kind != "code"]
        assert found == [("text", "b"), ("text", "f\\'g"), ("template", "k "), ("text", "m")]

    def test_calls_with_their_arguments(self) -> None:
        source = 'function say(key) {}\nsay(a ? "b.c" : "d.e", { n: f(1, 2), of, g: `,${h}` }); xsay(1); say("i", ...j)'
        assert list(calls(source, "say")) == [['a ? "b.c" : "d.e"', "{ n: f(1, 2), of, g: `,${h}` }"], ['"i"', "...j"]]
        assert named("{ n: f(1, 2), of, g: `,${h}` }") == {"n", "of", "g"}
        assert named("{ ...before, answer: 1 }") is None
        assert named("told") is None
