"""Which journal a record's file may have, by the mounts that proc(5) describes."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

from cli.review.local_disk import _kind_of_disk, journal_mode

# The first line is proc(5)'s own example, with its optional field.
MOUNTS = (
    r"""36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue
22 1 254:0 / / rw,relatime shared:1 - ext4 /dev/vda1 rw
23 22 0:5 / /proc rw - proc proc rw
24 22 0:40 / /mnt/press rw shared:7 master:2 propagate_from:3 - nfs4 10.0.0.2:/press rw,vers=4.2
25 22 0:41 / /mnt/office rw - cifs //office/share rw,vers=3.1.1
26 22 0:42 / /home/ida/field rw - fuse.sshfs ida@field:/ rw
27 22 0:43 / /field rw - 9p host rw,trans=virtio
28 24 254:3 / /mnt/press/here rw - xfs /dev/vdb rw
29 28 0:44 / /mnt/press/here/again rw - nfs 10.0.0.3:/a rw
30 22 0:45 / /srv/over rw - overlay overlay rw,lowerdir=/a,upperdir=/b
31 22 0:46 / /mnt/two\040words rw - nfs4 10.0.0.2:/two rw
32 22 0:47 / /mnt/tab\011line\012back\134040 rw - cifs //o/s rw
33 22 254:4 / /mnt/old rw - ext4 /dev/vdc rw
34 33 0:48 / /mnt/old rw - nfs4 10.0.0.2:/new rw
35 22 0:49 / /mnt/none rw - fuse
36 22 0:50 / /mnt/wide\040- rw - nfs4 10.0.0.2:/wide rw
37 22 0:51 / /mnt/möh"""
    + "\u2028\u00a0re rw - nfs4 10.0.0.2:/m rw\n"
    + "torn line\n38 22 0:52 / /mnt/torn rw\n\n"
)

PLACES = {
    "/home/ida/a.sqlite": "WAL",
    "/mnt2/x/a.sqlite": "WAL",
    "/srv/over/a": "WAL",
    "/mnt/press/here/b/a": "WAL",
    "/mnt/presser/a": "WAL",
    "/mnt/two/a": "WAL",
    "/mnt/torn/a": "WAL",
    "/a.sqlite": "WAL",
    "/mnt/press/a": "DELETE",
    "/mnt/press/b/c/a": "DELETE",
    "/mnt/press": "DELETE",
    "/mnt/press/here/again/a": "DELETE",
    "/mnt/office/a": "DELETE",
    "/home/ida/field/a": "DELETE",
    "/field/a": "DELETE",
    "/proc/self/a": "DELETE",
    "/mnt/two words/a": "DELETE",
    "/mnt/tab\tline\nback\\040/a": "DELETE",
    "/mnt/old/a": "DELETE",
    "/mnt/none/a": "DELETE",
    "/mnt/wide -/a": "DELETE",
    "/mnt/möh\u2028\u00a0re/a": "DELETE",
}


@pytest.mark.parametrize(("path", "mode"), PLACES.items(), ids=ascii)
def test_a_log_of_writes_is_for_disks_known_to_be_our_own(path: str, mode: str) -> None:
    assert journal_mode(Path(path), MOUNTS) == mode


@pytest.mark.parametrize("mounts", ["", "\n", "x", " - ", "1 2 3 4 5 - ", "\x00" * 99])
def test_where_nothing_is_known_the_plain_journal_is_kept(mounts: str) -> None:
    assert journal_mode(Path("/home/a.sqlite"), mounts) == "DELETE"


def test_a_link_is_followed_to_where_the_file_lies(tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    (tmp_path / "link").symlink_to("there")
    (tmp_path / "round").symlink_to("round")
    mounts = f"1 0 0:1 / / rw - ext4 a rw\n2 1 0:2 / {tmp_path}/there rw - nfs4 b rw\n"
    assert journal_mode(tmp_path / "a.sqlite", mounts) == "WAL"
    assert journal_mode(tmp_path / "link" / "a.sqlite", mounts) == "DELETE"
    assert journal_mode(tmp_path / "round" / "a.sqlite", mounts) == "WAL"


@pytest.mark.parametrize("place", ["/", "/proc", "/dev", "/tmp"])
def test_agrees_with_df_on_this_machine(place: str) -> None:
    said = subprocess.run(["df", "--output=fstype", place], capture_output=True, text=True, check=True).stdout
    kind = _kind_of_disk(Path(place), os.fsdecode(Path("/proc/self/mountinfo").read_bytes()))
    assert kind == said.split()[-1]
