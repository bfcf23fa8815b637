"""Who may speak to the page: tried with requests that a browser, or a foe, would make."""

from __future__ import annotations

import socket

import pytest
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route, WebSocketRoute
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from glowsim.errors import GlowsimError
from glowsim.live.guard import Guard, new_token
from glowsim.live.serve import bound

PORT = 8123
TOKEN = new_token()
HOME = f"http://127.0.0.1:{PORT}"
SOCKET = f"ws://127.0.0.1:{PORT}/ws"


async def _page(request):
    return PlainTextResponse("the page")


async def _socket(websocket):
    await websocket.accept()
    await websocket.send_text("hello")
    await websocket.close()


INNER = Starlette(routes=[Route("/", _page), WebSocketRoute("/ws", _socket)])


def browser(host="127.0.0.1", **headers):
    app = Guard(INNER, TOKEN, PORT)
    return TestClient(app, base_url=HOME, headers=headers, client=(host, 5000))


def test_the_printed_address_opens_the_page_and_its_cookie_the_rest():
    client = browser()
    assert client.get(f"/?token={TOKEN}").text == "the page"
    assert client.get("/").text == "the page"  # by the cookie now
    cookie = client.cookies.jar._cookies["127.0.0.1"]["/"][f"glowsim_live_{PORT}"]
    assert cookie.has_nonstandard_attr("HttpOnly")
    assert cookie.get_nonstandard_attr("SameSite") == "Strict"


@pytest.mark.parametrize(
    "query",
    ["", "?token=", "?token=guessed", f"?token={TOKEN[:-1]}"],
    ids=["none", "empty", "guessed", "cut"],
)
def test_without_the_token_nothing_is_told(query):
    answer = browser().get(f"/{query}")
    assert answer.status_code == 403
    assert "token" in answer.text
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize(
    "headers",
    [
        {"host": f"evil.example:{PORT}"},  # a name that was made to point here
        {"host": f"127.0.0.1:{PORT + 1}"},
        {"origin": "http://evil.example"},
        {"origin": f"http://evil.example:{PORT}"},
        {"origin": "null"},
        {"origin": f"http://127.0.0.1:{PORT + 1}"},  # another program's page on this machine
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_other_hosts_and_pages_are_refused_even_with_the_token(headers):
    assert browser(**headers).get(f"/?token={TOKEN}").status_code == 403


def test_other_machines_are_refused():
    assert browser(host="192.168.1.7").get(f"/?token={TOKEN}").status_code == 403


def test_the_socket_asks_for_token_and_origin():
    good = browser(origin=HOME)
    with good.websocket_connect(f"{SOCKET}?token={TOKEN}") as socket:
        assert socket.receive_text() == "hello"
    for headers, query in (
        ({"origin": "http://evil.example"}, f"?token={TOKEN}"),
        ({}, f"?token={TOKEN}"),
        ({"origin": HOME}, ""),
    ):
        client = browser(**headers)
        with pytest.raises(WebSocketDisconnect), client.websocket_connect(f"{SOCKET}{query}"):
            pass


def test_the_page_is_locked():
    headers = browser().get(f"/?token={TOKEN}").headers
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert headers["referrer-policy"] == "no-referrer"


def test_tokens_differ():
    assert len({new_token() for _ in range(20)}) == 20


def test_a_port_in_use_is_one_message():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(GlowsimError, match=f"port {port} is in use; give another"):
            bound(port)
