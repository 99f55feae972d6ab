"""A user's own guides: where they are looked for, that they are found beside ours, and what is said of those that can't be used."""

from __future__ import annotations

import pickle
import tempfile
import unicodedata
from pathlib import Path, PurePosixPath

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_guides import LEAST, as_toml, least
from test_house import forbidden

from cli.entry import run
from cli.guides import VARIABLE, find_guide, own_folder, own_guides
from vision.errors import GuideError
from vision.guides import guide_called, guide_names, load_guide
from vision.guides.entries import EXPECTED, KEYS, MISTAKEN, OPTIONAL, REMOVES

_WRONG: tuple[object, ...] = (7, "", [], {}, ["\x1b"])


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder for own guides, and the user's home beside it."""
    place = tmp_path / "mine"
    place.mkdir()
    monkeypatch.setenv(VARIABLE, str(place))
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.delenv("XDG_CONFIG_HOME", raising=False)
    return place


def listed(capsys: pytest.CaptureFixture[str]) -> list[str]:
    """The lines of the list of guides."""
    assert run(["guides"]) == 0
    return capsys.readouterr().out.splitlines()


class TestWhere:
    @pytest.mark.parametrize(
        ("system", "environ", "place"),
        [
            # XDG Base Directory Specification 0.8 for the first three; macOS and Windows: common practice, from memory.
            ("linux", {}, "/home/ann/.config/speckwise/guides"),
            ("linux", {"XDG_CONFIG_HOME": "/etc/ann"}, "/etc/ann/speckwise/guides"),
            ("linux", {"XDG_CONFIG_HOME": "ann"}, "/home/ann/.config/speckwise/guides"),
            ("linux", {"XDG_CONFIG_HOME": ""}, "/home/ann/.config/speckwise/guides"),
            ("darwin", {"XDG_CONFIG_HOME": "/etc/ann"}, "/home/ann/Library/Application Support/speckwise/guides"),
            ("win32", {"APPDATA": "/users/ann/roaming"}, "/users/ann/roaming/speckwise/guides"),
            ("win32", {}, "/home/ann/AppData/Roaming/speckwise/guides"),
            ("linux", {VARIABLE: "/srv/guides"}, "/srv/guides"),
            ("win32", {VARIABLE: "/srv/guides", "APPDATA": "/x"}, "/srv/guides"),
            ("linux", {VARIABLE: "~/guides"}, "/home/ann/guides"),
            ("linux", {VARIABLE: ""}, "/home/ann/.config/speckwise/guides"),
        ],
    )
    def test_by_the_system_and_what_the_user_set(
        self, system: str, environ: dict[str, str], place: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv("HOME", "/home/ann")
        monkeypatch.setenv("USERPROFILE", "/home/ann")
        found = own_folder(environ, system)
        assert found is not None
        assert PurePosixPath(found.as_posix()) == PurePosixPath(place)

    def test_nowhere_without_a_home(self, monkeypatch: pytest.MonkeyPatch) -> None:
        def homeless(*_: object) -> Path:
            raise RuntimeError("Could not determine home directory.")

        monkeypatch.setattr("cli.guides.Path.home", homeless)
        monkeypatch.delenv(VARIABLE, raising=False)
        monkeypatch.delenv("XDG_CONFIG_HOME", raising=False)
        assert own_folder({}, "linux") is None
        assert own_folder({"XDG_CONFIG_HOME": "/etc/ann"}, "linux") is not None

    def test_a_usual_folder_that_is_not_there_is_no_trouble(
        self, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        monkeypatch.delenv(VARIABLE)
        own = own_guides()
        assert (own.guides, own.troubles, own.digest) == ({}, {}, None)
        assert listed(capsys)[-1].startswith("Guides of your own: NAME.toml in ")

    def test_a_named_one_that_is_not_there_is_said(
        self, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        monkeypatch.setenv(VARIABLE, str(folder / "none"))
        assert "mine/none, the folder that SPECKWISE_GUIDES names, can't be read: it is not there." in "\n".join(
            listed(capsys)
        )
        with pytest.raises(GuideError, match=r"no guide called 'leek'.*it is not there"):
            find_guide("leek")
        assert find_guide("broccoli") == load_guide("broccoli")

    def test_a_file_in_the_folder_s_place_is_said(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        (folder / "file").write_bytes(LEAST)
        monkeypatch.setenv(VARIABLE, str(folder / "file"))
        assert list(own_guides().troubles) == [""]
        assert "it is no folder" in own_guides().troubles[""]

    def test_a_folder_that_may_not_be_read_is_said(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        def refused(_: Path) -> None:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr("cli.guides.Path.iterdir", refused)
        assert "permission is denied" in own_guides().troubles[""]
        monkeypatch.delenv(VARIABLE)
        assert "your folder of guides, can't be read: permission is denied" in own_guides().troubles[""]


class TestFound:
    def test_listed_apart_and_printed(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        (folder / "leek.toml").write_bytes(LEAST)
        lines = listed(capsys)
        assert [line.split()[0] for line in lines[: lines.index("")]] == list(guide_names())
        assert lines[lines.index("") + 1 :][:2] == [f"Your own, in {folder}:", "leek  Leek"]
        assert run(["guides", "leek"]) == 0
        page = capsys.readouterr().out.splitlines()
        assert tuple(page) == find_guide("leek").text
        assert page[0] == "Leek: how it is looked at"

    def test_by_its_name_and_by_a_slip_s(self, folder: Path) -> None:
        (folder / "spring_onion.toml").write_bytes(LEAST)
        own = own_guides()
        assert find_guide("spring_onion") == own.guides["spring_onion"] == guide_called("Spring onion", own.guides)
        assert pickle.loads(pickle.dumps(own)) == own

    def test_the_unknown_is_told_of_both(self, folder: Path) -> None:
        (folder / "leek.toml").write_bytes(LEAST)
        with pytest.raises(GuideError, match=r"no guide called 'chard'.*broccoli.*; in .*mine: leek\."):
            find_guide("chard")

    def test_what_is_no_guide_is_not_looked_at(self, folder: Path) -> None:
        for name in ("notes.txt", ".leek.toml", "._leek.toml", "leek.toml.bak", "toml"):
            (folder / name).write_bytes(b"\xff")
        assert (own_guides().guides, own_guides().troubles) == ({}, {})

    def test_the_digest_is_that_of_all(self, folder: Path) -> None:
        digests = []
        for name, data in (("leek", LEAST), ("chard", LEAST), ("chard", LEAST + b"\n")):
            (folder / f"{name}.toml").write_bytes(data)
            digests.append(own_guides().digest)
        assert len({None, *digests}) == 4
        (folder / "broken.toml").write_bytes(b"[")
        assert own_guides().digest == digests[-1]


class TestNotUsable:
    def test_a_name_of_ours_is_refused(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        (folder / "broccoli.toml").write_bytes(LEAST)
        assert own_guides().guides == {}
        assert "broccoli.toml: 'broccoli' is the name of a guide that comes with the program" in "\n".join(
            listed(capsys)
        )
        assert find_guide("broccoli") == load_guide("broccoli")
        assert guide_called("broccoli", own_guides().guides) == load_guide("broccoli")

    def test_a_broken_one_is_named_and_hides_no_other(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        (folder / "chard.toml").write_bytes(LEAST.replace(b'"linear"', b'"square"'))
        (folder / "leek.toml").write_bytes(LEAST)
        lines = listed(capsys)
        assert "leek  Leek" in lines
        sentence = lines[lines.index("Not usable:") + 1]
        assert sentence.startswith(f"{folder / 'chard.toml'}: In the guide 'chard', expect 1, shape must be one of: ")
        assert run(["guides", "chard"]) == 2
        assert sentence in capsys.readouterr().err
        assert run(["guides", "leek"]) == 0

    @pytest.mark.parametrize("key", sorted(set(KEYS) - OPTIONAL))
    def test_a_key_that_is_missing_is_named_with_its_file(self, folder: Path, key: str) -> None:
        (folder / "leek.toml").write_bytes(as_toml({k: v for k, v in least().items() if k != key}))
        assert own_guides().troubles == {"leek": f"{folder / 'leek.toml'}: The guide 'leek' lacks: {key}."}

    @pytest.mark.parametrize(
        ("key", "wrong"),
        [
            (key, wrong)
            for key in sorted(KEYS)
            for wrong in _WRONG
            if (key, wrong) not in [("sample", []), ("px_per_mm", {})]  # these may be empty
        ],
    )
    def test_a_key_that_is_wrong_is_named_with_its_file(self, folder: Path, key: str, wrong: object) -> None:
        (folder / "leek.toml").write_bytes(as_toml(least(**{key: wrong})))
        said = own_guides().troubles["leek"]
        assert said.startswith(f"{folder / 'leek.toml'}: In the guide 'leek', ")
        assert key in said
        assert said.isprintable()

    @pytest.mark.parametrize(
        ("table", "key"),
        [
            (table, key)
            for table, keys in (("expect", EXPECTED), ("mistaken", MISTAKEN), ("removes", REMOVES))
            for key in keys
        ],
    )
    def test_a_key_of_an_entry_is_named_with_its_place(self, folder: Path, table: str, key: str) -> None:
        entry = least()["removes"] if table == "removes" else least()[table][0]
        for made in ({k: v for k, v in entry.items() if k != key}, {**entry, key: 7}):
            (folder / "leek.toml").write_bytes(as_toml(least(**{table: made if table == "removes" else [made]})))
            own = own_guides()
            if key in OPTIONAL and key not in made:
                assert own.guides
            else:
                place = table if table == "removes" else f"{table} 1"
                assert f"leek.toml: In the guide 'leek', {place}, " in own.troubles["leek"]
                assert key in own.troubles["leek"]

    @pytest.mark.parametrize(
        "name",
        ["Leek", "LEEK", "spring onion", "spring-onion", "leek!", "a" * 41, "leek\x1b[2J", "leek\u202e", "l.eek", "\udce9", "\u200b", " "],
    )  # fmt: skip
    def test_a_name_that_can_t_be_one_is_said(
        self, folder: Path, name: str, capsys: pytest.CaptureFixture[str]
    ) -> None:
        (folder / f"{name}.toml").write_bytes(LEAST)
        assert own_guides().guides == {}
        (sentence,) = own_guides().troubles.values()
        assert "is called by small letters, digits and _" in sentence
        assert sentence.isprintable()
        assert sentence in listed(capsys)

    @pytest.mark.parametrize("name", ["leek", "spring_onion", "порей", "पालक", "菠菜", "épinard", "leek2", "a" * 40])
    def test_any_script_s_letters_will_do(self, folder: Path, name: str) -> None:
        (folder / f"{unicodedata.normalize('NFD', name)}.toml").write_bytes(LEAST)
        assert list(own_guides().guides) == [unicodedata.normalize("NFC", name)]
        assert find_guide(unicodedata.normalize("NFC", name)).title == "Leek"

    def test_two_that_differ_in_how_accents_are_written_are_one_too_many(self, folder: Path) -> None:
        for form in ("NFC", "NFD"):
            (folder / f"{unicodedata.normalize(form, 'épinard')}.toml").write_bytes(LEAST)
        if len(list(folder.iterdir())) < 2:
            pytest.skip("this disk takes both for one")
        own = own_guides()
        assert list(own.guides) == ["épinard"]
        assert [sentence.split(": ", 1)[1] for sentence in own.troubles.values()] == [
            "another file of this folder is called 'épinard' already: give it another name."
        ]

    @pytest.mark.parametrize(
        ("data", "says"),
        [
            (b"", "The file is empty."),
            (b"#" * (1 << 20) + b"\n", "The file is larger than 1 MiB"),
            (b"\xff\xfe", "is not TOML"),
            (b"\x89PNG\r\n\x1a\n", "is not TOML"),
            (b"title = ", "is not TOML"),
            (b"title = " + b"[" * 100_000, "is not TOML"),
        ],
        ids=["empty", "huge", "utf-16", "picture", "cut", "deep"],
    )
    def test_what_is_no_guide_at_all_is_said(self, folder: Path, data: bytes, says: str) -> None:
        (folder / "leek.toml").write_bytes(data)
        (folder / "chard.toml").write_bytes(LEAST)
        own = own_guides()
        assert list(own.guides) == ["chard"]
        assert says in own.troubles["leek"]
        assert str(folder / "leek.toml") in own.troubles["leek"]

    def test_a_folder_in_the_file_s_place_is_said(self, folder: Path) -> None:
        (folder / "leek.toml").mkdir()
        assert own_guides().troubles["leek"].endswith("leek.toml: This is a folder, not a file.")

    def test_a_link_that_leads_nowhere_is_said(self, folder: Path) -> None:
        (folder / "leek.toml").symlink_to(folder / "none")
        assert own_guides().troubles["leek"].endswith("leek.toml: The file is not there.")

    def test_a_file_that_may_not_be_read_is_said(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        def refused(*_: object) -> None:
            raise PermissionError(13, "Permission denied")

        (folder / "leek.toml").write_bytes(LEAST)
        # Not by the file's rights: whoever runs the tests may be allowed everything.
        monkeypatch.setattr("vision.files.open", refused, raising=False)
        assert own_guides().troubles["leek"].endswith("leek.toml: The file may not be read: permission is denied.")

    def test_sentences_hold_no_forbidden_word(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        for name in ("broccoli", "Leek", "chard"):
            (folder / f"{name}.toml").write_bytes(b"[")
        lines = listed(capsys)
        assert len(lines) - lines.index("Not usable:") >= 4
        assert [word for line in lines for word in forbidden(line)] == []


@settings(deadline=None)  # a disk may be slow for once
@given(st.binary(max_size=60), st.integers(0, len(LEAST)))
def test_any_bytes_are_a_guide_or_a_sentence(extra: bytes, at: int) -> None:
    with tempfile.TemporaryDirectory() as place, pytest.MonkeyPatch.context() as patch:
        patch.setenv(VARIABLE, place)
        Path(place, "leek.toml").write_bytes(LEAST[:at] + extra + LEAST[at:])
        own = own_guides()
        assert set(own.guides) ^ set(own.troubles) == {"leek"}
