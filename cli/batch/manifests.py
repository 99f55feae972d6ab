"""The manifests of a call, one for each PATH that has one: what they say of the photographs that are found, and what they do not."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Protocol

from cli.batch.addresses import is_address, local_path
from cli.batch.belonging import folders_say
from cli.batch.manifest import MANIFEST, Manifest, ManifestFaults, read_manifest
from cli.batch.sources import Claims, FileFacts, LocalFile, Source
from cli.words import count, printable
from vision.errors import CallError, SpeckwiseError

CALM_S = 0.5
"""A table that is being saved changes more often than this."""
_NAMED = 5
"""So many rows are named in a closing line."""


class Told(Protocol):
    """What manifests tell the record and the end of a call."""

    @property
    def digests(self) -> list[str | None]:
        """SHA-256 of each PATH's manifest as it counts now; None where there is none."""

    def lines(self) -> list[str]:
        """Sentences for the end of a call: rows without a photograph, photographs without a row."""

    def lost(self) -> dict[str, str] | None:
        """Photographs that a manifest names and that were not found, and the lot that each belongs to; '' where nothing says.

        None where no folder was given whole, so that nothing can be said of it.
        """


class Manifests:
    """The manifests of a call. Those of PATHs that lie in one folder are one."""

    def __init__(self, of_paths: Sequence[Manifest | None] = (), whole: Collection[str] = ()) -> None:
        """`whole`: names of the manifests of folders that were given whole, so that what is not found is not there."""
        self._of_paths = tuple(of_paths)
        self._whole = frozenset(whole)
        self._found: dict[str, set[str]] = {}
        self._unnamed = 0

    @property
    def digests(self) -> list[str | None]:
        """As in Told."""
        return [None if manifest is None else manifest.sha256 for manifest in self._of_paths]

    def told(self, sources: Iterable[Source]) -> Iterator[Source]:
        """The sources with what is said of each, as they come."""
        for source in sources:
            number, below = _place_of(source.shot, len(self._of_paths))
            manifest = self._of_paths[number - 1]
            row: Mapping[str, str] = {}
            if manifest is not None and below in manifest.rows:
                row = manifest.rows[below]
                self._found.setdefault(manifest.name, set()).add(below)
            elif manifest is not None:
                self._unnamed += 1
            yield replace(source, claims=Claims(row, folders_say(below)))

    def lost(self) -> dict[str, str] | None:
        """As in Told; what is said holds once all sources have come. Named as shots are, with the PATH's number where there are several."""
        if not self._whole:
            return None
        return {
            manifest.name.removesuffix(MANIFEST) + shot: manifest.rows[shot].get("lot", "")
            or folders_say(shot).get("lot", "")
            for manifest in self._each()
            if manifest.name in self._whole
            for shot in self._lost(manifest)
        }

    def _each(self) -> list[Manifest]:
        return list({each.name: each for each in self._of_paths if each}.values())

    def _lost(self, manifest: Manifest) -> list[str]:
        return sorted(manifest.rows.keys() - self._found.get(manifest.name, set()))

    def lines(self) -> list[str]:
        """As in Told; what is said holds once all sources have come."""
        lines = []
        for manifest in self._each():
            lost = self._lost(manifest)
            if lost:
                which = ", ".join(printable(shot) for shot in lost[:_NAMED])
                more = f" and {len(lost) - _NAMED} more" if len(lost) > _NAMED else ""
                verb = "names" if len(lost) == 1 else "name"
                lines.append(
                    f"{count(len(lost), 'row')} of {manifest.name} {verb} no photograph of this call: {which}{more}."
                )
        if self._unnamed:
            verb = "is" if self._unnamed == 1 else "are"
            lines.append(f"{count(self._unnamed, 'photograph')} {verb} not named in {MANIFEST}.")
        return lines


def read_manifests(paths: Sequence[str | Path]) -> Manifests:
    """The manifests beside the photographs of a call; none is looked for at an address.

    Raises ManifestFaults with all that is wrong in any of them, and CallError where one can't be read.
    """
    read: dict[str, Manifest] = {}
    faults: list[str] = []
    of_paths: list[Manifest | None] = []
    whole: set[str] = set()
    for number, path in enumerate(map(os.fspath, paths), start=1):
        place = None if is_address(path) else _beside(local_path(path))
        if place is not None and os.fspath(place) not in read:
            try:
                name = f"{number}:{MANIFEST}" if len(paths) > 1 else MANIFEST
                read[os.fspath(place)] = read_manifest(_bytes_of(place), name)
            except ManifestFaults as error:
                read[os.fspath(place)] = Manifest({}, "", name)
                faults += error.faults
        of_paths.append(read[os.fspath(place)] if place is not None else None)
        if place is not None and local_path(path).is_dir():
            whole.add(read[os.fspath(place)].name)
    if faults:
        raise ManifestFaults(faults)
    return Manifests(of_paths, whole)


class WatchedManifest:
    """The manifest of a folder that is watched: it may come or change at any time. A faulty one is said, and the last good one stays."""

    def __init__(self, folder: Path, say: Callable[[str], None], clock: Callable[[], float] = time.monotonic) -> None:
        """Reads what is there. Raises ManifestFaults and CallError."""
        self._place, self._say, self._clock = folder / MANIFEST, say, clock
        self._read = self._seen = self._facts()
        self._since = self._clock()
        self._manifest = None if self._read is None else read_manifest(_bytes_of(self._place))
        self._found: set[str] = set()

    @property
    def digests(self) -> list[str | None]:
        """As in Told."""
        return [None if self._manifest is None else self._manifest.sha256]

    def lines(self) -> list[str]:
        """As in Told. None: what has no row or no photograph yet may still get it."""
        return []

    def lost(self) -> dict[str, str] | None:
        """As in Told; of a watch that has ended."""
        return {
            shot: row.get("lot", "") or folders_say(shot).get("lot", "")
            for shot, row in sorted(self._rows.items())
            if shot not in self._found
        }

    def told(self, source: Source) -> Source:
        """The source with what is said of it now."""
        self._found.add(source.shot)
        return replace(source, claims=Claims(self._rows.get(source.shot, {}), folders_say(source.shot)))

    def look(self) -> frozenset[str]:
        """The shots of which something else is said than at the last look."""
        facts = self._facts()
        if facts != self._seen:
            self._seen, self._since = facts, self._clock()
        # One that has gone may be on its way back: a program that saves often writes beside and renames.
        if facts is None or facts == self._read or self._clock() - self._since < CALM_S:
            return frozenset()
        self._read, before = facts, self._rows
        try:
            self._manifest = read_manifest(_bytes_of(self._place))
        except CallError as error:
            stays = "What it said before still counts." if self._manifest else "It will be read again when it changes."
            self._say(f"{error}\n{stays}")
            return frozenset()
        now = self._rows
        changed = frozenset(shot for shot in before.keys() | now.keys() if before.get(shot) != now.get(shot))
        if changed:
            self._say(f"{MANIFEST} has changed: it says something else of {count(len(changed), 'photograph')}.")
        return changed

    @property
    def _rows(self) -> Mapping[str, Mapping[str, str]]:
        return self._manifest.rows if self._manifest else {}

    def _facts(self) -> FileFacts | None:
        try:
            return LocalFile(self._place).facts() if os.path.isfile(self._place) else None
        except OSError:
            return None


def _place_of(shot: str, paths: int) -> tuple[int, str]:
    """The number of the PATH that brought a shot, and the path below it."""
    if paths < 2:
        return 1, shot
    number, _, below = shot.partition(":")
    return int(number), below


def _beside(path: Path) -> Path | None:
    """The manifest in a folder, or in the folder that holds a file; None where there is none."""
    place = (path if path.is_dir() else Path(os.path.abspath(path)).parent) / MANIFEST
    return Path(os.path.abspath(place)) if os.path.isfile(place) else None


def _bytes_of(place: Path) -> bytes:
    try:
        return LocalFile(place).read()
    except SpeckwiseError as error:
        raise CallError(f"{place} can't be used: {error}") from error
