"""Photographs on web servers, with the standard library's server on this machine as the other side."""

from __future__ import annotations

import base64
import datetime
import errno
import os
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from urllib.parse import quote

import pytest
from far_servers import ENDINGS, Handler, Server, nobody, refusal, silent, unread, web

from cli.batch.addresses import NotListed, RemoteFile, find_at
from cli.batch.far import store, trouble
from cli.batch.sources import FileFacts

SECRET = "sesame17"
NAMES = (
    *("b.jpg", "a/x.jpg", "a/y/z.PNG", "a.jpg", "a-b.jpg", "a0.jpg", "a/notes.txt", "A.JPG", "é/ü 🐛.jpg", "50%.jpg"),
    *(
        "what?x=1.jpg",
        "cam #1/+&='\".jpg",
        "<b>;.jpg",
        "[a]*.jpg",
        ".hidden/x.jpg",
        "a/.hidden.jpg",
        "%2e.jpg",
        "a:b@c.jpg",
    ),
)


@pytest.fixture(autouse=True)
def no_pause(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(trouble, "_PAUSE_S", 0.0)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "web"


@pytest.fixture
def server(folder: Path) -> Iterator[Server]:
    with web(folder) as server:
        yield server


def found(address: str) -> dict[str, RemoteFile]:
    """What is at an address by the names of the shots, in the order in which it is given."""
    listed = list(find_at(address, ENDINGS))
    assert len({name for _, name in listed}) == len({place.name for place, _ in listed}) == len(listed)
    return {name: place for place, name in listed}


def walked(address: str) -> tuple[list[str], list[NotListed]]:
    """The names of all shots at an address, and what was told of folders that could not be looked into."""
    names: list[str] = []
    missed: list[NotListed] = []
    walk = find_at(address, ENDINGS)
    while True:
        try:
            names.append(next(walk)[1])
        except NotListed as each:
            missed.append(each)
        except StopIteration:
            return names, missed


def write(folder: Path, *names: str) -> None:
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(name.encode())


def page(*links: str) -> Callable[[Handler], None]:
    """A page with such links."""
    text = "".join(f"<A class=x HREF='{link}'>.</a>" for link in links)
    return lambda handler: handler.answer(200, text.encode(), {"Content-Type": "text/html; charset=utf-8"})


class TestFolders:
    def test_every_picture_below_in_order_with_its_bytes(self, folder: Path, server: Server) -> None:
        write(folder, *NAMES)
        pictures = [name for name in NAMES if name.lower().endswith(ENDINGS) and "hidden" not in name]
        places = found(server.url)
        assert list(places) == sorted(pictures)
        assert {name: place.read() for name, place in places.items()} == {name: name.encode() for name in pictures}
        assert places["cam #1/+&='\".jpg"].name.startswith(f"{server.url}/cam%20%231/")
        below = sorted(name[2:] for name in pictures if name.startswith("a/"))
        # Without the slash the server redirects to where it stands.
        assert list(found(f"{server.url}/a/")) == list(found(f"{server.url}/a")) == below
        assert not any("hidden" in path for _, path, _ in server.asked), "nothing hidden is looked into"

    def test_only_what_lies_below(self, folder: Path, server: Server) -> None:
        write(folder, *("in/a.jpg", "in/b/c.jpg", "out.jpg", "in2/d.jpg", "in/e&amp;f.jpg"))
        host = server.url.removeprefix("http://")
        server.odd["/in/"] = page(
            *("a.jpg", "./a.jpg", f"{server.url}/in/a.jpg", "/in/a.jpg", "a.jpg#x", "b/", "b/c.jpg", "e&amp;amp;f.jpg"),
            *(
                "../out.jpg",
                "/out.jpg",
                "/in2/d.jpg",
                "../",
                "/",
                ".",
                "..",
                "",
                "?C=N;O=D",
                "a.jpg?x=1",
                "%2e%2e/out.jpg",
            ),
            *(
                "..%2fout.jpg",
                "..%5cout.jpg",
                "b/../../out.jpg",
                f"https://{host}/in/x.jpg",
                "//other.invalid/in/x.jpg",
            ),
            *(
                "http://other.invalid/in/y.jpg",
                "http://[/in/z.jpg",
                "mailto:a.jpg",
                "javascript:a.jpg",
                "ftp://a/in/a.jpg",
            ),
        )
        places = found(f"{server.url}/in/")
        assert {name: place.read() for name, place in places.items()} == {
            name: f"in/{name}".encode() for name in ("a.jpg", "b/c.jpg", "e&amp;f.jpg")
        }
        assert not any("out" in path or "in2" in path for _, path, _ in server.asked)

    def test_a_redirect_to_elsewhere_is_no_folder(self, folder: Path, server: Server) -> None:
        write(folder, "in/a.jpg", "in/b/b.jpg", "other/c.jpg")
        server.odd["/in/b/"] = lambda handler: handler.answer(302, b"", {"Location": "/other/"})
        walk = find_at(f"{server.url}/in", ENDINGS)
        assert next(walk)[1] == "a.jpg"
        with pytest.raises(NotListed):
            next(walk)
        assert list(walk) == []

    def test_a_folder_that_is_refused_is_told_of_and_the_rest_goes_on(self, folder: Path, server: Server) -> None:
        write(folder, "a/1.jpg", "b/1.jpg", "c/1.jpg")
        server.odd["/b/"] = lambda handler: handler.answer(403)
        walk = find_at(f"{server.url.replace('//', f'//ida:{SECRET}@')}/?{SECRET}", ENDINGS)
        assert next(walk)[1] == "a/1.jpg"
        with pytest.raises(NotListed) as missed:
            next(walk)
        assert str(missed.value) == f"The folder {server.url}/b/ can't be listed: access is refused."
        assert [name for _, name in walk] == ["c/1.jpg"]

    def test_links_that_lead_back_up(self, folder: Path, server: Server) -> None:
        write(folder, "a/1.jpg", "a/b/2.jpg", "c/c/c/c/3.jpg")
        for link, target in (("a/b/up", ".."), ("a/self", "."), ("d", "."), ("e", ".")):
            os.symlink(target, folder / link)
        names, missed = walked(server.url)
        assert {"a/1.jpg", "a/b/2.jpg", "c/c/c/c/3.jpg"} <= set(names)
        assert names == sorted(set(names))
        assert {str(each.why) for each in missed} == {"a link in it leads back up"}
        assert len(names) + len(missed) < 2000, "links of links are not followed without end"

    def test_a_second_look_sees_what_is_new(self, folder: Path, server: Server) -> None:
        write(folder, "a/1.jpg")
        assert list(found(server.url)) == ["a/1.jpg"]
        write(folder, "a/2.jpg")
        assert list(found(server.url)) == ["a/1.jpg", "a/2.jpg"]


class TestFiles:
    def test_one_file_whatever_its_ending(self, folder: Path, server: Server) -> None:
        write(folder, "notes", "é b.dat")
        (folder / "empty.jpg").touch()
        assert [(name, place.read()) for name, place in found(f"{server.url}/notes").items()] == [("notes", b"notes")]
        for written in ("é b.dat", quote("é b.dat"), "%C3%A9%20b.dat?x=1#y"):
            assert {name: place.read() for name, place in found(f"{server.url}/{written}").items()} == {
                "é b.dat": "é b.dat".encode()
            }
        assert unread(found(f"{server.url}/empty.jpg")["empty.jpg"]) == "The file is empty."

    def test_user_and_password_go_to_the_server_and_nowhere_else(self, folder: Path, server: Server) -> None:
        write(folder, "in/a.jpg")
        user = server.url.replace("//", f"//ida:{quote('p@ss/w:o#?' + SECRET, safe='')}@")
        # RFC 7617, section 2: user and password with a colon, in base64.
        sent = "Basic " + base64.b64encode(f"ida:p@ss/w:o#?{SECRET}".encode()).decode()
        for address in (f"{user}/in/a.jpg", f"{user}/in/", f"{user}/in"):
            server.asked.clear()
            place = found(address)["a.jpg"]
            assert place.read() == b"in/a.jpg"
            assert place.facts().tells
            assert {headers.get("Authorization") for _, _, headers in server.asked} == {sent}
            assert place.name == f"{server.url}/in/a.jpg"
            assert SECRET not in repr(place)

    def test_a_signed_address_is_sent_as_it_is(self, folder: Path, server: Server) -> None:
        # As Amazon's S3 signs it (API reference, "Authenticating Requests: Using Query Parameters"): good for GET alone.
        query = f"X-Amz-Credential=A%2F2026%2fs3&X-Amz-Date=a+b%20c&X-Amz-Signature={SECRET}"

        def signed(handler: Handler) -> None:
            right = handler.command == "GET" and handler.path == f"/in%2Fa.jpg?{query}"
            handler.answer(200 if right else 403, b"right" * right, {"ETag": '"5"'})

        server.odd["/in/a.jpg"] = signed
        place = found(f"{server.url}/in%2Fa.jpg?{query}")["in/a.jpg"]
        assert place.read() == b"right"
        assert place.facts() == FileFacts(5, 'ETag "5"')
        assert place.name == f"{server.url}/in%2Fa.jpg"
        assert SECRET not in repr(place)

    def test_two_that_differ_in_the_query_are_two(self, folder: Path, server: Server) -> None:
        write(folder, "a.jpg")
        one, other = (found(f"{server.url}/a.jpg?id={number}")["a.jpg"] for number in (1, 2))
        assert one.name == other.name
        assert one != other
        assert one.whole != other.whole

    def test_redirected(self, folder: Path, server: Server) -> None:
        write(folder, "there.jpg")
        server.odd["/a.jpg"] = lambda handler: handler.answer(302, b"", {"Location": f"/there.jpg?{SECRET}"})
        place = found(f"{server.url}/a.jpg")["a.jpg"]
        assert place.read() == b"there.jpg"
        assert place.name == f"{server.url}/a.jpg"

    def test_what_is_known_of_it(self, folder: Path, server: Server) -> None:
        write(folder, "a.jpg")
        os.utime(folder / "a.jpg", (1_700_000_000, 1_700_000_000))
        listed = found(server.url)["a.jpg"]
        # RFC 9110, section 5.6.7; the date by hand.
        assert listed.facts() == FileFacts(5, "Last-Modified Tue, 14 Nov 2023 22:13:20 GMT")
        assert found(f"{server.url}/a.jpg")["a.jpg"].facts() == listed.facts()
        server.odd["/a.jpg"] = lambda handler: handler.answer(200, b"x", {"ETag": 'W/"1"', "Last-Modified": "now"})
        assert listed.facts() == FileFacts(1, 'ETag W/"1" Last-Modified now')
        server.odd["/a.jpg"] = lambda handler: handler.answer(200, b"x")
        assert not listed.facts().tells
        (folder / "a.jpg").unlink()
        del server.odd["/a.jpg"]
        with pytest.raises(OSError, match="it is not there") as away:
            listed.facts()
        assert away.value.errno == errno.ENOENT
        assert unread(listed) == "The file is not there."

    def test_read_in_many_threads(self, folder: Path, server: Server) -> None:
        names = [f"{number:02}.jpg" for number in range(40)]
        write(folder, *names)
        with ThreadPoolExecutor(8) as pool:
            read = pool.map(
                lambda each: (each[1], each[0].facts().size_bytes, each[0].read()), find_at(server.url, ENDINGS)
            )
            assert list(read) == [(name, 6, name.encode()) for name in names]


class TestTrouble:
    @pytest.mark.parametrize(
        ("status", "why", "shot"),
        [
            (401, "access is refused", "The file may not be read: access is refused."),
            (403, "access is refused", "The file may not be read: access is refused."),
            (404, "it is not there", "The file is not there."),
            (410, "it is not there", "The file is not there."),
            (500, "the server or the network reports an error", None),
            (503, "the server has too much to do", None),
        ],
    )
    def test_answers_that_are_none(self, folder: Path, server: Server, status: int, why: str, shot: str | None) -> None:
        server.odd["/a.jpg"] = lambda handler: handler.answer(status, SECRET.encode(), {"X": SECRET})
        address = f"{server.url.replace('//', f'//ida:{SECRET}@')}/a.jpg?{SECRET}"
        assert refusal(address) == f"{server.url}/a.jpg can't be used: {why}."
        assert refusal(f"zip://::{address}") == f"zip://::{server.url}/a.jpg can't be used: {why}."
        server.odd["/"] = page("a.jpg")
        place = found(server.url)["a.jpg"]
        server.asked.clear()
        assert unread(place) == (shot or f"The file can't be read: {why}.")
        assert len(server.asked) == (1 if shot else 2), "what may be over by then is asked for once more"
        with pytest.raises(OSError, match=why):
            place.facts()

    def test_what_fails_once_is_read_all_the_same(self, folder: Path, server: Server) -> None:
        write(folder, "a.jpg")
        place = found(server.url)["a.jpg"]

        def once(handler: Handler) -> None:
            del server.odd["/a.jpg"]
            handler.answer(503)

        server.odd["/a.jpg"] = once
        assert place.read() == b"a.jpg"

    def test_a_body_that_breaks_off(self, server: Server) -> None:
        def cut(handler: Handler) -> None:
            handler.answer(200, b"x" * 10, {"Content-Length": "20"})
            handler.close_connection = True

        server.odd["/a.jpg"] = cut
        place = found(f"{server.url}/a.jpg")["a.jpg"]
        assert unread(place) == "The file can't be read: the connection broke off."

    def test_more_than_is_read(self, server: Server, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(store, "MOST_BYTES", 1 << 20)
        sent: list[int] = []

        def endless(handler: Handler) -> None:
            handler.send_response(200)
            handler.end_headers()
            while handler.command == "GET":
                sent.append(handler.wfile.write(bytes(1 << 16)))

        server.odd |= {"/endless.jpg": endless, "/most.jpg": lambda handler: handler.answer(200, bytes(1 << 20))}
        server.odd["/more.jpg"] = lambda handler: handler.answer(200, b"", {"Content-Length": str((1 << 20) + 1)})
        assert found(f"{server.url}/most.jpg")["most.jpg"].read() == bytes(1 << 20)
        for name in ("endless.jpg", "more.jpg"):
            said = unread(found(f"{server.url}/{name}")[name])
            assert said == "The file is larger than 1 MiB, the most that is read."
        assert sum(sent) < 64 << 20

    def test_a_server_that_never_answers(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(store, "SILENT_S", 0.2)
        since = time.monotonic()
        with silent() as host:
            for address in (f"http://{host}/a.jpg", f"http://{host}/in/", f"zip://::http://{host}/a.zip"):
                assert refusal(address) == f"{address} can't be used: the server does not answer in time."
        assert time.monotonic() - since < 20

    def test_a_server_that_falls_silent(self, server: Server, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(store, "SILENT_S", 1.0)
        over = threading.Event()

        def half(handler: Handler) -> None:
            handler.answer(200, b"x" * 10, {"Content-Length": "20"})
            over.wait(20)

        server.odd["/"] = page("a.jpg")
        server.odd["/a.jpg"] = half
        since = time.monotonic()
        assert unread(found(server.url)["a.jpg"]) == "The file can't be read: the server does not answer in time."
        assert time.monotonic() - since < 20
        over.set()

    @pytest.mark.parametrize("host", ["no.such.host.invalid", "[::1]:1", ""])
    def test_no_one_there(self, host: str) -> None:
        # .invalid never leads anywhere (RFC 6761, section 6.4).
        address = f"https://{host or nobody()}/a.jpg"
        assert refusal(address) == f"{address} can't be used: the server can't be reached."

    @pytest.mark.parametrize(
        "address", ["http://", "http://:80/a.jpg", "http://host:port/a.jpg", "http://[::1/a.jpg", "http://a b/"]
    )
    def test_wrongly_written(self, address: str) -> None:
        assert "can't be used: the " in refusal(address)

    def test_a_certificate_that_nobody_vouches_for(self, folder: Path, tmp_path: Path) -> None:
        with web(folder, own_certificate(tmp_path)) as server:
            address = f"https://127.0.0.1:{server.server_port}/a.jpg"
            assert refusal(address) == f"{address} can't be used: the server's certificate is not to be trusted."


def own_certificate(folder: Path) -> ssl.SSLContext:
    """A server's side of TLS with a certificate that it has signed itself."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "127.0.0.1")])
    now = datetime.datetime.now(datetime.UTC)
    certificate = (
        x509.CertificateBuilder(
            name, name, key.public_key(), 1, now - datetime.timedelta(1), now + datetime.timedelta(1)
        )
    ).sign(key, hashes.SHA256())
    secret = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    (folder / "own.pem").write_bytes(secret + certificate.public_bytes(serialization.Encoding.PEM))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(folder / "own.pem")
    return context
