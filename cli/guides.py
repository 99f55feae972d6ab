"""The guides on the command line: those that ship, and a user's own, which are .toml files in a folder of theirs.

An own guide is never called like one that ships, so that a name in a record means one thing. One that can't be used is named with its
file and what is wrong, and hides no other.
"""

from __future__ import annotations

import hashlib
import os
import sys
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from cli.exits import ALL_DONE
from cli.words import printable

if TYPE_CHECKING:
    from vision.guides import Guide

VARIABLE = "SPECKWISE_GUIDES"
"""Names the folder of a user's own guides in place of the usual one."""
_ENDING = ".toml"
_MOST_BYTES = 1 << 20
_LONGEST_NAME = 40


@dataclass(frozen=True)
class OwnGuides:
    """A user's own guides, by name, and a sentence for each file that can't be used, by the name it would have."""

    folder: Path | None = None
    guides: Mapping[str, Guide] = field(default_factory=dict)
    troubles: Mapping[str, str] = field(default_factory=dict)

    @property
    def digest(self) -> str | None:
        """SHA-256 of all names and contents; None where there are no own guides."""
        lines = [f"{name} {guide.digest}\n" for name, guide in sorted(self.guides.items())]
        return hashlib.sha256("".join(lines).encode()).hexdigest() if lines else None


def print_guides(name: str | None) -> int:
    """Prints one guide, or the list of all; raises GuideError with the known names for one that is not among them."""
    for line in _list() if name is None else find_guide(name).text:
        print(line)
    return ALL_DONE


def find_guide(name: str) -> Guide:
    """The guide of that name: one that ships, or else one of the user's own.

    Raises GuideError: with what is wrong in the user's file of that name, or with the known names where there is none.
    """
    from vision.errors import GuideError
    from vision.guides import guide_names, load_guide

    if name in guide_names():
        return load_guide(name)
    own = own_guides()
    if name in own.guides:
        return own.guides[name]
    if name in own.troubles:
        raise GuideError(own.troubles[name])
    yours = f"; in {_shown(own.folder)}: {', '.join(own.guides)}" if own.guides else ""
    unread = f" {own.troubles['']}" if "" in own.troubles else ""
    raise GuideError(f"There is no guide called {name!r}. There are: {', '.join(guide_names())}{yours}.{unread}")


def own_guides() -> OwnGuides:
    """All of the user's own guides, read afresh. Never raises: what can't be used is in `troubles`, under '' the folder itself."""
    folder = own_folder(os.environ, sys.platform)
    if folder is None:
        return OwnGuides()
    try:
        files = sorted(each.name for each in folder.iterdir() if _is_guide(each.name))
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        is_asked_for = bool(os.environ.get(VARIABLE))
        if isinstance(error, FileNotFoundError) and not is_asked_for:
            return OwnGuides(folder)
        whose = f"the folder that {VARIABLE} names" if is_asked_for else "your folder of guides"
        return OwnGuides(folder, {}, {"": f"{_shown(folder)}, {whose}, can't be read: {_why(error)}."})
    guides: dict[str, Guide] = {}
    troubles: dict[str, str] = {}
    for file in files:
        name = unicodedata.normalize("NFC", file[: -len(_ENDING)])
        try:
            guides[name] = _read(folder / file, name, name in guides)
        except _Unusable as error:
            # Two files may be called alike but for how their accents are written.
            troubles[file if name in guides else name] = printable(f"{folder / file}: {error}")
    return OwnGuides(folder, guides, troubles)


def own_folder(environ: Mapping[str, str], system: str) -> Path | None:
    """Where a user's own guides are looked for; None where the user has no home. `system` as in sys.platform.

    XDG Base Directory Specification 0.8: a relative XDG_CONFIG_HOME is ignored. Elsewhere common practice, from memory.
    """
    try:
        if named := environ.get(VARIABLE):
            return Path(named).expanduser()
        if system == "win32":
            roaming = environ.get("APPDATA")
            base = Path(roaming) if roaming else Path.home() / "AppData" / "Roaming"
        elif system == "darwin":
            base = Path.home() / "Library" / "Application Support"
        else:
            config = Path(environ.get("XDG_CONFIG_HOME") or "")
            base = config if config.is_absolute() else Path.home() / ".config"
    except RuntimeError:
        return None
    return base / "speckwise" / "guides"


class _Unusable(Exception):
    """Why a file is none of the guides, in a sentence."""


def _is_guide(file: str) -> bool:
    return file.lower().endswith(_ENDING) and not file.startswith(".")


def _read(path: Path, name: str, is_taken: bool) -> Guide:
    from vision.errors import GuideError, UnreadableShot
    from vision.files import read_bytes
    from vision.guides import guide_names, parse_guide

    if not _is_name(name):
        raise _Unusable(
            f"a guide's file is called by small letters, digits and _, at most {_LONGEST_NAME}, such as spring_onion.toml: "
            "rename it."
        )
    if name in guide_names():
        raise _Unusable(f"{name!r} is the name of a guide that comes with the program: give yours another.")
    if is_taken:
        raise _Unusable(f"another file of this folder is called {name!r} already: give it another name.")
    try:
        return parse_guide(name, read_bytes(path, max_bytes=_MOST_BYTES))
    except (GuideError, UnreadableShot) as error:
        raise _Unusable(str(error)) from error


def _is_name(name: str) -> bool:
    """Letters of any script, with their marks, digits and _; no capitals, which some disks don't tell from small ones."""
    known = all(letter == "_" or unicodedata.category(letter)[0] in "LMN" for letter in name)
    return known and name == name.lower() and 0 < len(name) <= _LONGEST_NAME


def _why(error: OSError | ValueError) -> str:
    if isinstance(error, FileNotFoundError):
        return "it is not there"
    if isinstance(error, NotADirectoryError):
        return "it is no folder"
    if isinstance(error, PermissionError):
        return "permission is denied"
    return "the disk or the network reports an error"


def _shown(path: Path | None) -> str:
    return printable(str(path))


def _list() -> Iterator[str]:
    """All guides, those of the user and what can't be used of them apart."""
    from vision.guides import guide_names, load_guide

    yield from _titles({name: load_guide(name) for name in guide_names()})
    own = own_guides()
    if own.guides:
        yield from ("", f"Your own, in {_shown(own.folder)}:", *_titles(own.guides))
    if own.troubles:
        yield from ("", "Not usable:", *own.troubles.values())
    yield from ("", "speckwise guides NAME prints one; speckwise score --produce NAME uses it.")
    if own.folder is not None and not own.guides:
        yield f"Guides of your own: NAME.toml in {_shown(own.folder)}; {VARIABLE} names another folder."


def _titles(guides: Mapping[str, Guide]) -> Iterator[str]:
    wide = max(map(len, guides))
    yield from (f"{name:{wide}}  {guide.title}" for name, guide in guides.items())
