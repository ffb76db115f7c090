"""Who may speak to the page, and that no request names a file."""

from __future__ import annotations

import asyncio
import socket
from contextlib import suppress
from typing import Any

import httpx
import pytest

from tests.page.conftest import ELSEWHERE, Served, fetch, kept_draft, new_mirror
from wearsim.page.guard import COOKIE, LARGEST_BODY, Door, Guard
from wearsim.page.server import Room, application
from wearsim.worker import Desk

HERE = "127.0.0.1:8460"
WORD = "word-of-the-door"


def _answers(door: Door, kind: str = "http", query: str = "", **headers: str) -> list[dict[str, Any]]:
    """What a guarded application sends; the application itself answers 200, or accepts."""

    async def app(scope: Any, receive: Any, send: Any) -> None:
        if kind == "websocket":
            await send({"type": "websocket.accept"})
        else:
            await send({"type": "http.response.start", "status": 200, "headers": []})

    sent: list[dict[str, Any]] = []

    async def send(message: Any) -> None:
        sent.append(message)

    pairs = [(key.replace("_", "-").encode(), value.encode()) for key, value in headers.items()]
    scope = {
        "type": kind,
        "scheme": "ws" if kind == "websocket" else "http",
        "query_string": query.encode(),
        "headers": pairs,
    }
    asyncio.run(Guard(app, door)(scope, None, send))
    return sent


def _status(door: Door, query: str = "", **headers: str) -> int:
    return int(_answers(door, "http", query, **headers)[0]["status"])


@pytest.mark.parametrize(
    "host", ["evil.example:8460", "127.0.0.1", "127.0.0.1:80", "127.0.0.1:8460.evil.example", "", "192.168.1.7:8460"]
)
def test_another_name_is_refused(host: str) -> None:
    assert _status(Door(8460), host=host) == 421


def test_own_names_are_let_in() -> None:
    assert [_status(Door(8460), host=host) for host in (HERE, "localhost:8460")] == [200, 200]


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"}, {"origin": "null"}, {"origin": "http://127.0.0.1:9999"}, {"origin": "https://127.0.0.1:8460"},
        {"sec_fetch_site": "cross-site"}, {"sec_fetch_site": "same-site"},
    ],
)  # fmt: skip
def test_what_another_site_begins_is_refused(headers: dict[str, str]) -> None:
    assert _status(Door(8460), host=HERE, **headers) == 403
    assert _answers(Door(8460), "websocket", host=HERE, **headers)[0]["type"] == "websocket.close"


def test_own_origin_is_let_in() -> None:
    assert _answers(Door(8460), "websocket", host=HERE, origin=f"http://{HERE}")[0]["type"] == "websocket.accept"


@pytest.mark.parametrize("length", [str(LARGEST_BODY + 1), "-1", "many", "1e3"])
def test_a_body_that_is_too_large_is_refused(length: str) -> None:
    assert _status(Door(8460), host=HERE, content_length=length) == 413


def test_a_body_that_does_not_say_how_large_it_is_is_refused() -> None:
    assert _status(Door(8460), host=HERE, transfer_encoding="chunked") == 413


class TestWithAWord:
    door = Door(8460, "192.168.1.7", WORD)

    def test_the_address_must_have_it(self) -> None:
        assert _status(self.door, host=HERE) == 403
        assert _status(self.door, "key=wrong", host=HERE) == 403
        assert _status(self.door, f"key={WORD}x", host=HERE) == 403
        assert _status(self.door, f"key={WORD}", host="192.168.1.7:8460") == 200

    def test_then_the_cookie_does(self) -> None:
        left = dict(_answers(self.door, "http", f"key={WORD}", host=HERE)[0]["headers"])[b"set-cookie"].decode()
        assert "HttpOnly" in left and "SameSite=Strict" in left
        assert _status(self.door, host=HERE, cookie=left.partition(";")[0]) == 200
        assert _status(self.door, host=HERE, cookie=f"{COOKIE}=wrong") == 403
        assert _status(self.door, host=HERE, cookie="a;;=;\x01") == 403

    def test_a_websocket_needs_it_too(self) -> None:
        assert _answers(self.door, "websocket", host=HERE)[0]["type"] == "websocket.close"

    def test_every_door_has_a_word_of_its_own(self) -> None:
        one, two = Door.shared(8460), Door.shared(8460)
        assert one.word != two.word and len(one.word) >= 16 and one.word in one.link("/", one.address)


NO_FILES = (
    "/mirror/..%2f..%2fetc/readings", "/mirror/%2e%2e/readings", "/mirror/nobody/readings",
    "/mirror/first/..%2fbench.toml", "/mirror/first%00/readings", "/mirror/first/readings%2f..%2f..",
)  # fmt: skip
NO_PRINTS = ("/print/first/bench.toml", "/print/first/..%2f..%2fbench.toml", "/print/nobody/card", "/print/first/card")
Answers = dict[str, httpx.Response]


async def _ask(room: Room) -> Answers:
    """What the page itself answers, behind its door, in this process."""
    app = application(room)
    transport = httpx.ASGITransport(Guard(app, room.door))
    async with (
        app.router.lifespan_context(app),
        httpx.AsyncClient(transport=transport, base_url=f"http://{HERE}") as client,
    ):
        answers = {path: await client.get(path) for path in (*NO_FILES, *NO_PRINTS, "/")}
        answers["by another name"] = await client.get("/", headers={"host": "evil.example"})
        answers["from another site"] = await client.post("/", headers={"origin": "http://evil.example"})
        return answers


@pytest.fixture(scope="module")
def answers(tmp_path_factory: pytest.TempPathFactory) -> Answers:
    """Of a page with one mirror, ``first``."""
    folder = tmp_path_factory.mktemp("mirrors")
    new_mirror(folder / "first")
    room = Room(folder, Desk())
    room.door = Door(8460)
    return asyncio.run(_ask(room))


@pytest.mark.parametrize("path", NO_FILES)
def test_no_request_names_a_file(answers: Answers, path: str) -> None:
    status, text = answers[path].status_code, answers[path].text
    assert "root:" not in text and "[mirror]" not in text
    assert status in (200, 404) and (status == 404 or "Page not found" in text)


@pytest.mark.parametrize("path", NO_PRINTS)
def test_only_card_and_mask_are_printed(answers: Answers, path: str) -> None:
    assert answers[path].status_code == 404


def test_every_answer_keeps_other_sites_out(answers: Answers) -> None:
    head = answers["/"].headers
    assert answers["/"].status_code == 200 and "Mirrors" in answers["/"].text
    assert head["x-frame-options"] == "DENY" and head["cross-origin-resource-policy"] == "same-origin"
    assert answers["by another name"].status_code == 421
    assert answers["from another site"].status_code == 403


@pytest.fixture(scope="module")
def served(serve: Any) -> Served:
    """A server without a word."""
    return serve()


@pytest.mark.slow
def test_the_mask_is_printed(served: Served) -> None:
    status, text = fetch(served.address("/print/first/mask"))
    assert status == 200 and text.startswith("%PDF")


@pytest.mark.slow
def test_malformed_requests_leave_the_server_alive(served: Served) -> None:
    for raw in (
        b"\x00\xff" * 50,
        b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
        b"GET " + b"/" * 100_000,
        b"POST / HTTP/1.1\r\n",
        b"POST / HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nTransfer-Encoding: chunked\r\n\r\n" % served.port
        + 64 * (b"ffff\r\n" + 65535 * b"x" + b"\r\n"),
        b"GET /_nicegui_ws/socket.io/?EIO=4 HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nUpgrade: websocket\r\n\r\n\xff"
        % served.port,
    ):
        with suppress(ConnectionError), socket.create_connection(("127.0.0.1", served.port), 5.0) as line:
            line.sendall(raw)
    assert fetch(served.address("/"))[0] == 200
    served.assert_quiet()


@pytest.mark.slow
def test_it_listens_on_this_machine_alone(served: Served) -> None:
    from wearsim.page.guard import lan_address

    if lan_address() == "127.0.0.1":
        pytest.skip("this machine is in no network")
    with pytest.raises(OSError, match=r"(refused|timed out)"):
        socket.create_connection((lan_address(), served.port), 2.0)


@pytest.fixture(scope="module")
def shared(serve: Any) -> Served:
    """A server for the local network."""
    return serve("--share")


@pytest.mark.slow
def test_shared_it_wants_the_word_of_its_address(shared: Served) -> None:
    assert fetch(shared.address("/"))[0] == 403
    assert fetch(shared.address("/?key=wrong"))[0] == 403
    assert fetch(shared.link)[0] == 200
    assert fetch(shared.link, Host="evil.example")[0] == 421


@pytest.mark.slow
def test_a_tablet_comes_in_with_the_word_and_stays_in_without(shared: Served, screens: Any) -> None:
    tablet, stranger = screens(shared, 1024, 768), shared.address("/mirror/first/readings")
    page = tablet.page
    page.goto(shared.link)
    tablet.ready()
    tablet.press("Continue with first")
    page.locator(".window input").first.wait_for()
    tablet.ready()
    page.locator(".window input").nth(1).fill("0.56")
    kept_draft(shared.folder / "first", lambda kept: kept["rounds"][0]["cells"][1] == "0.56")
    tablet.go("/mirror/first/barrel").get_by_text("On a tablet by the barrel").click()
    page.get_by_role("img", name="Code with the address of this view").wait_for()
    assert fetch(stranger)[0] == 403 and fetch(stranger, Cookie=f"{COOKIE}=wrong")[0] == 403


FROM_ELSEWHERE = """async (address) => {
  const answered = await fetch(address, { method: 'POST', body: 'x' }).then(() => 'answered', () => 'refused');
  const heard = await new Promise((done) => {
    const line = new WebSocket(address.replace('http', 'ws') + '_nicegui_ws/socket.io/?EIO=4&transport=websocket');
    line.onopen = () => done('answered');
    line.onerror = () => done('refused');
  });
  return [answered, heard];
}"""


@pytest.mark.slow
def test_another_site_in_the_same_browser_gets_no_answer(served: Served, browser: Any) -> None:
    context = browser.new_context()
    page = context.new_page()
    page.goto(served.address("/"))
    rebound = page.goto(f"http://{ELSEWHERE}:{served.port}/")
    assert rebound.status == 421  # its own name, pointed at this machine
    page.route("http://other.example/", lambda route: route.fulfill(body="<h1>other</h1>", content_type="text/html"))
    page.goto("http://other.example/")
    assert page.evaluate(FROM_ELSEWHERE, served.address("/")) == ["refused", "refused"]
    context.close()
    served.assert_quiet()
