"""Making a panel's profile from photographs of the empty panel."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from cli.entry import warn_of_two_opencvs
from cli.exits import ALL_DONE
from cli.scoring import check_px_per_mm
from vision.errors import CallError, ShotError

if TYPE_CHECKING:
    from vision.types import Shot


def calibrate_call(blanks: Sequence[Path], out: Path, px_per_mm: float | None = None) -> int:
    """Writes the profile of the panel that `blanks` show, its map and a picture of its doubtful marks; the exit code.

    Raises CallError where a blank can't be read, ProfileError where they do not show an empty panel; nothing is written then.
    """
    check_px_per_mm(px_per_mm)
    if not out.parent.is_dir():
        raise CallError(f"The folder {out.parent} is not there.")
    warn_of_two_opencvs()
    from calib.panel import measure_panel
    from calib.panel_report import calibration_lines, mark_crops
    from calib.profile import carry_answers, load_profile, profile_of, write_profile
    from vision.files import write_picture

    shots = [_read(path) for path in blanks]
    measured = measure_panel(shots, px_per_mm)
    profile = profile_of(measured, datetime.now(UTC))
    if out.exists():
        # A person's answers outlive the profile they were given in; a file that is no profile is not written over.
        profile = carry_answers(load_profile(out), profile)
    crops = mark_crops(shots[0], profile.marks, measured.px_per_mm)
    crops_path = out.with_name(f"{out.stem}-marks.jpg")
    if crops.size:
        write_picture(crops_path, crops)
    written = write_profile(profile, out)
    for line in calibration_lines(profile, measured, out.name, crops_path.name):
        print(line)
    for path in (*written, *([crops_path] if crops.size else [])):
        print(f"Written: {path}")
    return ALL_DONE


def _read(path: Path) -> Shot:
    from vision.decode import decode_shot
    from vision.files import read_bytes

    try:
        return decode_shot(read_bytes(path), path.name)
    except ShotError as error:
        raise CallError(f"{path}: {error}") from error
