"""The house: who imports whom, who touches the disk, how long a file is, and words that no one may ever read."""

from __future__ import annotations

import ast
import functools
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGES = ("vision", "calib", "cli")
MODULES = sorted(path for package in PACKAGES for path in (ROOT / package).rglob("*.py"))
MAY_IMPORT = {"vision": {"vision"}, "calib": {"vision", "calib"}, "cli": {"vision", "calib", "cli"}}
LONGEST = 450
PERSONS_FILES = sorted(
    path
    for package in PACKAGES
    for path in (ROOT / package).rglob("*")
    if path.suffix in {".j2", ".html", ".toml", ".js"}
)


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@functools.cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def imports(tree: ast.Module) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "a relative import hides who is meant"
            yield node.module or ""
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def test_there_is_something_to_look_at() -> None:
    assert {path.relative_to(ROOT).parts[0] for path in MODULES} == set(PACKAGES)
    assert PERSONS_FILES


@pytest.mark.parametrize("path", MODULES, ids=name_of)
class TestEachModule:
    def test_imports_only_downwards(self, path: Path) -> None:
        package = path.relative_to(ROOT).parts[0]
        ours = {name.split(".")[0] for name in imports(tree_of(path))} & {*PACKAGES, "tests"}
        assert ours <= MAY_IMPORT[package]

    def test_keeps_to_its_floor(self, path: Path) -> None:
        parts = path.relative_to(ROOT).parts
        names = set(imports(tree_of(path)))
        tops = {name.split(".")[0] for name in names}
        if parts[0] == "cli" and parts[1:] != ("shot.py",):
            assert not tops & {"cv2", "skimage", "scipy"}, "pixels are computed on in vision/ and calib/"
        if parts[0] != "cli":
            assert not tops & {"typer", "click", "rich", "sqlite3", "socket", "jinja2", "filelock"}
        assert not tops & {"requests", "httpx", "aiohttp", "ftplib", "smtplib"}
        assert not names & {"urllib.request", "http.client"}, "nothing leaves the machine"

    def test_touches_the_disk_only_where_it_may(self, path: Path) -> None:
        name = name_of(path)
        # A browser prints a page that it reads from a file: a passing one, in a folder of its own.
        if name in ("vision/files.py", "cli/lots/print_page.py") or name.startswith(("cli/batch/", "cli/review/")):
            return
        assert list(disk_calls(tree_of(path))) == []

    def test_is_not_too_long(self, path: Path) -> None:
        assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST

    def test_says_no_forbidden_word(self, path: Path) -> None:
        found = [(text, word) for text in strings(tree_of(path)) for word in forbidden(text)]
        assert found == []


_DISK_METHODS = {
    *("read_bytes", "read_text", "write_bytes", "write_text", "unlink", "mkdir", "rmdir", "touch", "symlink_to"),
    *("imread", "imwrite", "fromfile", "tofile", "loadtxt", "savetxt", "savez", "savez_compressed", "memmap"),
    *("makedirs", "remove", "rmtree", "copyfile", "copytree", "NamedTemporaryFile", "TemporaryDirectory", "mkdtemp"),
}


def disk_calls(tree: ast.Module) -> Iterator[str]:
    """Calls that look like reading or writing a file; shipped data through importlib.resources is allowed."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        called = ast.unparse(node.func)
        last = called.rsplit(".", 1)[-1]
        on_lists = last == "remove" and not called.startswith("os.")
        opens = called in {"open", "io.open", "os.open", "np.load", "np.save"} or called.endswith("path.open")
        suspect = opens or (last in _DISK_METHODS and "." in called and not on_lists)
        if suspect and not re.search(r"resources\.|devnull", ast.unparse(node)):
            yield f"{called} in line {node.lineno}"


@pytest.mark.parametrize(
    "code",
    ["open('x')", "Path('x').write_text('y')", "cv2.imread('x')", "np.load('x')", "os.remove('x')", "path.open()"],
)
def test_the_look_for_the_disk_sees_it(code: str) -> None:
    assert list(disk_calls(ast.parse(code)))


# Whole words. None may be said of produce or of a shot: whoever reads one takes the matter as settled.
_WORDS = (
    *("clean", "cleaned", "cleanly", "clear", "cleared", "clears", "all-clear", "pass", "passed", "passes", "passing"),
    *(
        "safe",
        "safely",
        "approve",
        "approved",
        "certify",
        "certified",
        "compliant",
        "ok",
        "okay",
        "flawless",
        "spotless",
    ),
    *("insect-free", "bug-free", "pest-free", "uninfested", "unaffected"),
)
_PHRASES = ("free of", "free from", "no insects", "no bugs", "nothing found", "all good", "✓", "✔", "✅", "☑", "👍")
_FORBIDDEN = re.compile(
    r"(?<![\w-])(" + "|".join(map(re.escape, _WORDS)) + r")(?![\w-])|" + "|".join(map(re.escape, _PHRASES)),
    re.IGNORECASE,
)


def forbidden(text: str) -> list[str]:
    return [match.group(0) for match in _FORBIDDEN.finditer(text)]


def strings(tree: ast.Module) -> Iterator[str]:
    """Texts of a module that a person may come to read: not docstrings, not what only the program reads."""
    silent = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in silent:
            yield node.value
    # What typer shows as help is a docstring.
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef) and any("command" in ast.unparse(each) for each in node.decorator_list):
            yield ast.get_docstring(node) or ""


def shown(path: Path) -> str:
    """The text of a template or guide without what only the program reads."""
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".toml":
        return str(list(tomllib.loads(text).values()))
    text = re.sub(r"<style.*?</style>|\{#.*?#\}|\{%.*?%\}", " ", text, flags=re.DOTALL)
    # What a template puts in comes from code, whose strings are looked at there; what it says itself stays.
    text = re.sub(r"\{\{.*?\}\}", lambda match: " ".join(re.findall(r"'[^']*'|\"[^\"]*\"", match.group(0))), text)
    return re.sub(r"<(?!img)[^>]*>", " ", text)


@pytest.mark.parametrize("path", PERSONS_FILES, ids=name_of)
def test_templates_and_guides_say_no_forbidden_word(path: Path) -> None:
    assert forbidden(shown(path)) == []


@pytest.mark.parametrize(
    "text", ["The shot is clean.", "All-clear", "PASSED", "ok", "0 insects ✓", "free of insects", "Safe."]
)
def test_forbidden_words_are_seen(text: str) -> None:
    assert forbidden(text)


@pytest.mark.parametrize(
    "text", ["an assist, not a clearance", "a passer-by", "unclear", "0 flagged. That is not a finding of none."]
)
def test_other_words_are_not(text: str) -> None:
    assert not forbidden(text)


def test_each_package_says_whose_it_is() -> None:
    for package in PACKAGES:
        assert '__app__ = "speckwise"' in (ROOT / package / "__init__.py").read_text(encoding="utf-8")


def test_no_package_among_the_tests() -> None:
    assert not list((ROOT / "tests").rglob("__init__.py")), "it would stand before ours on the path"
