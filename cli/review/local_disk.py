"""Which journal SQLite may keep: a write-ahead log needs memory that all readers share, which disks of other machines do not give."""

from __future__ import annotations

import os
import re
from pathlib import Path

_LOCAL = frozenset(
    {"ext2", "ext3", "ext4", "xfs", "btrfs", "zfs", "f2fs", "bcachefs", "tmpfs", "overlay", "ramfs", "jfs", "reiserfs"}
)
_MOUNTS = Path("/proc/self/mountinfo")
_ESCAPED = re.compile(r"\\([0-7]{3})")
"""Spaces and the like in mount points stand there as octal numbers."""


def journal_mode(path: Path, mounts: str | None = None) -> str:
    """'WAL' where the file lies on a disk that is known to be this machine's own, else 'DELETE', which works anywhere. Links are followed.

    `mounts` is a table as in /proc/self/mountinfo (proc(5)); by default this machine's, where there is one.
    """
    if mounts is None:
        try:
            mounts = _MOUNTS.read_text(encoding="utf-8", errors="surrogateescape")
        except OSError:
            return "DELETE"
    return "WAL" if _kind_of_disk(Path(os.path.realpath(path)), mounts) in _LOCAL else "DELETE"


def _kind_of_disk(path: Path, mounts: str) -> str:
    found, kind = -1, ""
    # Nothing but a line feed and a space divides: a mount point may hold any other character as it is.
    for line in mounts.split("\n"):
        fields, dash, rest = line.partition(" - ")
        parts = fields.split(" ")
        if not dash or len(parts) < 5:
            continue
        point = Path(_ESCAPED.sub(lambda octal: chr(int(octal[1], 8)), parts[4]))
        # The last of several on one point is the one that is seen.
        if (path == point or point in path.parents) and len(point.parts) >= found:
            found, kind = len(point.parts), rest.split(" ")[0]
    return kind
