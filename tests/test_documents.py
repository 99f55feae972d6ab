"""Documents and code say the same: columns, modules, commands and options."""

from __future__ import annotations

import ast
import importlib
import math
import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest
import typer.main
from remake_readme import README, remade
from test_house import forbidden, strings, tree_of

from cli.app import app
from cli.batch.belonging import view_of
from cli.exits import ALL_DONE, CALL_IS_WRONG, SOME_SHOTS_FAILED, STOPPED_BY_USER, STOPPED_HALF_WAY
from vision.guides.views import OVERVIEW_PX_PER_MM, VIEWS

ROOT = Path(__file__).parent.parent
HOUSE = (ROOT / "docs" / "house.md").read_text(encoding="utf-8")


def test_readme_has_the_columns_of_the_code() -> None:
    text = README.read_text(encoding="utf-8")
    assert remade(text) == text
    assert text.count("| `") > 60


def test_readme_opens_with_the_job_and_says_what_was_shown() -> None:
    paragraphs = README.read_text(encoding="utf-8").split("\n\n")
    assert "insects" in paragraphs[1]
    assert "photographs" in paragraphs[1]
    assert "real insects" in paragraphs[2]
    assert "nothing" in paragraphs[2]


def test_readme_names_the_two_commands_and_the_cautions() -> None:
    text = README.read_text(encoding="utf-8")
    for word in (
        "make demo",
        "make test",
        "pip install",
        "shellfish",
        "dust-mite",
        "scald",
        "low-voltage",
        "authority decides",
    ):
        assert word in text, word


def test_house_names_every_module() -> None:
    def is_named(package: str, path: Path) -> bool:
        name = path.name if path.suffix else f"{path.name}/"
        return any(f"`{start}{name}`" in HOUSE for start in ("", f"{package}/"))

    parts = [
        (package, path)
        for package in ("vision", "calib", "cli")
        for path in sorted((ROOT / package).iterdir())
        if (path.suffix == ".py" and path.name != "__init__.py") or (path / "__init__.py").exists()
    ]
    assert [f"{package}/{path.name}" for package, path in parts if not is_named(package, path)] == []


def test_house_names_no_module_that_is_not_there() -> None:
    for name in re.findall(r"`(?:(?:vision|calib|cli)/)?([a-z_]+\.py)`", HOUSE):
        assert any(any((ROOT / package).rglob(name)) for package in ("vision", "calib", "cli")) or name == "types.py", (
            name
        )


def test_house_has_the_commands_and_options_of_the_code() -> None:
    commands = typer.main.get_command(app).commands  # type: ignore[attr-defined]
    stated = dict(re.findall(r"\| `speckwise (\w+)` \|([^|]*)\|", HOUSE))
    assert set(stated) == set(commands)
    for name, command in commands.items():
        options = {option for p in command.params for option in p.opts if option.startswith("--")}
        assert set(re.findall(r"`(--[a-z-]+)`", stated[name])) == options, name


def test_house_has_the_exit_codes_of_the_code() -> None:
    sentence = HOUSE[HOUSE.index("Exit codes:") :].split("\n\n")[0]
    for code in (ALL_DONE, SOME_SHOTS_FAILED, CALL_IS_WRONG, STOPPED_HALF_WAY, STOPPED_BY_USER):
        assert re.search(rf"\b{code} ", sentence), code


def test_no_document_uses_a_forbidden_word_for_a_result() -> None:
    words = re.compile(r"\b(insect-free|all clear|cleared|passed the check|safe to eat|bug-free)\b", re.IGNORECASE)
    for path in [README, ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]:
        assert not words.search(path.read_text(encoding="utf-8")), path.name


SET_UP = (ROOT / "docs" / "set_up_your_panel.md").read_text(encoding="utf-8")
DRAWING = ("draw_set_up.py", "set_up_diagrams.py", "set_up_photographs.py", "sketch.py")
PICTURES = ROOT / "docs" / "pictures"


def calls_on(page: str) -> list[str]:
    """Every call of the program that a page shows, in a block or within a line."""
    return re.findall(r"^speckwise .*$", page, re.MULTILINE) + re.findall(r"`(speckwise [^`\n]+)`", page)


def rows_after(page: str, mark: str) -> list[list[str]]:
    """The cells of the table that follows a comment."""
    table = page[page.index(f"<!-- {mark} -->") :].split("\n\n")[0]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in table.splitlines()[3:]]


def pieces_of(text: str) -> list[str]:
    """The words between what is put in, sentence part by sentence part."""
    return [piece.strip(" .") for piece in re.split("[…;\x00]", text) if re.search(r"\w{3}", piece)]


def instructions_in_code() -> Iterator[str]:
    """The sentence of each finding of the check; a zero byte where a number or a word is put in."""
    for node in ast.walk(tree_of(ROOT / "calib" / "check.py")):
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "Finding":
            said = node.args[0]
            parts = said.values if isinstance(said, ast.JoinedStr) else [said]
            yield "".join(str(part.value) if isinstance(part, ast.Constant) else "\0" for part in parts)


class TestSetUpPage:
    @pytest.fixture
    def drawing(self, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
        monkeypatch.syspath_prepend(str(ROOT / "docs"))
        return importlib.import_module("draw_set_up")

    def test_each_step_has_its_picture(self) -> None:
        steps = re.split(r"^## (?=\d)", SET_UP, flags=re.MULTILINE)[1:]
        assert len(steps) == 9
        # Buying needs none, and calibrating shows a picture of its own.
        assert [step.splitlines()[0] for step in steps if "](pictures/" not in step] == [
            "1. What you need",
            "7. Calibrate, once and after every change of the stand",
        ]

    def test_each_picture_is_there_and_drawn_by_the_one_command(self, drawing: ModuleType) -> None:
        named = re.findall(r"!\[([^\]]*)\]\(pictures/([^)]+)\)", SET_UP)
        assert all(len(alt.split()) > 3 for alt, _ in named)
        names = {name for _, name in named}
        assert len(names) == len(named)
        assert names == set(drawing.DIAGRAMS) | set(drawing.PHOTOGRAPHS)
        assert names == {path.name for path in PICTURES.glob("set-up-*")}

    def test_the_diagrams_show_what_is_drawn_now(self, drawing: ModuleType) -> None:
        for name, drawn in drawing.DIAGRAMS.items():
            assert drawing.alike(drawing.as_file(name, drawn()), (PICTURES / name).read_bytes()), name

    def test_another_picture_is_not_alike(self, drawing: ModuleType) -> None:
        one, other = (PICTURES / f"set-up-{name}.jpg" for name in ("moved", "deep"))
        assert drawing.alike(one.read_bytes(), one.read_bytes())
        assert not drawing.alike(one.read_bytes(), other.read_bytes())

    def test_pictures_are_small(self) -> None:
        assert sum(path.stat().st_size for path in PICTURES.iterdir()) < 2_000_000

    def test_every_call_can_be_made(self) -> None:
        calls = calls_on(SET_UP)
        commands = typer.main.get_command(app).commands  # type: ignore[attr-defined]
        assert {call.split()[1] for call in calls} == {"slip", "calibrate", "score", "guides"}
        for call in calls:
            _, name, *words = shlex.split(call)
            # Raises where an option is unknown or one that must be given is missing.
            commands[name].make_context(name, words)

    def test_views_are_those_of_the_code(self) -> None:
        light = {"above": "above", "below": "below", "None": "either"}
        stated = {row[0].strip("`"): (row[2], row[3]) for row in rows_after(SET_UP, "views")}
        assert stated == {
            word: (light[str(view.lit_from)], f"{view.px_per_mm:g} px/mm") for word, view in VIEWS.items()
        }
        assert f"{OVERVIEW_PX_PER_MM:g} px/mm is an overview" in SET_UP

    def test_the_shots_of_a_lot_are_named_as_the_program_reads_them(self, drawing: ModuleType) -> None:
        shots = importlib.import_module("set_up_diagrams").SHOTS
        assert len(shots) == 6
        for number, (view, _, _) in enumerate(shots, start=1):
            assert view_of(f"lot-118/{number}-{view}.jpg") == view

    def test_heights_give_the_stated_scale(self) -> None:
        # A lens of 52 mm by the diagonal of 36 x 24 mm film; thin lens, its own length left out (from memory).
        rows = rows_after(SET_UP, "heights")
        assert len(rows) == 3
        for height, scale, field in rows:
            wide = float(height.split()[0]) / 52 * math.hypot(36, 24) * 0.8
            assert float(scale.split()[0]) == pytest.approx(4000 / wide, abs=0.5)
            assert [float(n) for n in re.findall(r"\d+", field)] == pytest.approx([wide, 0.75 * wide], abs=0.6)

    def test_millilitres_fit_the_tray(self) -> None:
        assert "240 x 180 mm that is 220 to 350 ml" in SET_UP
        assert pytest.approx((220, 350), rel=0.02) == (240 * 180 * 5 / 1000, 240 * 180 * 8 / 1000)

    def test_each_instruction_of_the_check_is_explained(self) -> None:
        told = list(instructions_in_code())
        assert len(told) > 15
        page = SET_UP[SET_UP.index("<!-- instructions -->") :]
        assert [text for text in told if not all(piece in page for piece in pieces_of(text))] == []

    def test_each_explained_instruction_is_said_by_the_check(self) -> None:
        told = "\0".join(strings(tree_of(ROOT / "calib" / "check.py")))
        explained = re.findall(r"^\| \*\*(.+?)\*\* \|", SET_UP, re.MULTILINE)
        assert len(explained) > 15
        assert [text for text in explained if not all(piece in told for piece in pieces_of(text))] == []

    def test_says_the_cautions(self) -> None:
        for words in (
            "low voltage",
            "No glass over food",
            "scald",
            "assist, not a clearance",
            "local code",
            "shellfish",
        ):
            assert words in SET_UP, words

    def test_says_no_forbidden_word(self) -> None:
        assert forbidden(SET_UP) == []
        for name in DRAWING:
            assert [word for text in strings(tree_of(ROOT / "docs" / name)) for word in forbidden(text)] == []
