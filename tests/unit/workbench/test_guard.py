from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from pinseat.workbench.guard import POLICY, Door, Guard, TooLargeError, limited

DOOR = Door(8765, "the-key")
KEY = {"cookie": "pinseat-8765=the-key"}


def _run(work: Coroutine[Any, Any, Any]) -> Any:
    """Run in a thread of its own: in this one the browser's loop may still be running."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, work).result()


async def _inner(scope: Any, receive: Any, send: Any) -> None:
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"inside"})


def _ask(
    method: str = "GET", path: str = "/", query: str = "", host: str = "127.0.0.1:8765", **headers: str
) -> Any:
    """Status, headers and body that the guard lets out."""
    sent: list[Any] = []
    held = {"host": host, **{key.replace("_", "-"): value for key, value in headers.items()}}
    scope = {
        "type": "http",
        "method": method,
        "path": path,
        "query_string": query.encode(),
        "headers": [(key.encode(), value.encode()) for key, value in held.items()],
    }

    async def receive() -> Any:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    _run(Guard(_inner, DOOR)(scope, receive, send))
    found = {key.decode(): value.decode() for key, value in sent[0]["headers"]}
    return sent[0]["status"], found, sent[1]["body"].decode()


def test_the_key_in_the_address_becomes_a_cookie_and_leaves_the_address() -> None:
    status, headers, _ = _ask(path="/case/a/", query="key=the-key&search=x")
    assert (status, headers["location"]) == (303, "/case/a/?search=x")
    assert headers["set-cookie"] == "pinseat-8765=the-key; Path=/; HttpOnly; SameSite=Strict"
    assert _ask(**KEY)[0] == 200


@pytest.mark.parametrize("path", ["//evil.example/", "///evil.example"])
def test_the_welcome_never_leads_elsewhere(path: str) -> None:
    where = _ask(path=path, query="key=the-key")[1]["location"]
    assert where.startswith("/")
    assert not where.startswith("//")


@pytest.mark.parametrize(
    "cookie", ["", "pinseat-8765=", "pinseat-8765=the-kez", "pinseat-1=the-key", "\x01=;;"]
)
def test_without_the_key_nothing_is_shown(cookie: str) -> None:
    status, _, body = _ask(cookie=cookie)
    assert status == 403
    assert "inside" not in body
    assert _ask(query="key=other")[0] == 403


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:80", "evil.example:8765", ""])
def test_a_name_that_was_made_to_lead_here_is_refused(host: str) -> None:
    assert _ask(host=host, **KEY)[0] == 421


def test_localhost_is_as_good() -> None:
    assert _ask(host="localhost:8765", **KEY)[0] == 200


def test_other_sites_may_neither_change_nor_read() -> None:
    assert _ask("POST", origin="http://127.0.0.1:8765", **KEY)[0] == 200
    assert _ask("POST", **KEY)[0] == 403
    assert _ask("POST", origin="http://127.0.0.1:9999", **KEY)[0] == 403
    assert _ask("POST", origin="null", **KEY)[0] == 403
    assert _ask("GET", origin="https://evil.example", **KEY)[0] == 403
    assert _ask("GET", sec_fetch_site="cross-site", **KEY)[0] == 403


def test_every_answer_carries_the_policy() -> None:
    for answer in (_ask(**KEY), _ask(), _ask(host="x"), _ask(query="key=the-key")):
        assert answer[1]["content-security-policy"] == POLICY
        assert answer[1]["x-content-type-options"] == "nosniff"
        assert answer[1]["cache-control"] == "no-store"
    assert "unsafe" not in POLICY
    assert "default-src 'none'" in POLICY


def test_no_websocket_is_opened() -> None:
    sent: list[Any] = []

    async def receive() -> Any:
        return {"type": "websocket.connect"}

    async def send(message: Any) -> None:
        sent.append(message)

    headers = [(b"host", b"127.0.0.1:8765"), (b"cookie", b"pinseat-8765=the-key")]
    scope = {"type": "websocket", "path": "/", "query_string": b"", "headers": headers}
    _run(Guard(_inner, DOOR)(scope, receive, send))
    assert [message["type"] for message in sent] == ["websocket.close"]


def _taken(parts: list[bytes], most: int) -> tuple[bytes, int]:
    left = list(parts)

    async def receive() -> Any:
        return {"type": "http.request", "body": left.pop(0), "more_body": bool(left)}

    async def take() -> bytes:
        return b"".join([part async for part in limited(receive, most)])

    return _run(take()), len(left)


def test_too_much_is_not_taken_in() -> None:
    assert _taken([b"abc", b"de"], 5) == (b"abcde", 0)
    left = [b"abc", b"def", b"never"]

    async def receive() -> Any:
        return {"type": "http.request", "body": left.pop(0), "more_body": True}

    async def take() -> None:
        async for _ in limited(receive, 5):
            pass

    with pytest.raises(TooLargeError):
        _run(take())
    assert left == [b"never"]
