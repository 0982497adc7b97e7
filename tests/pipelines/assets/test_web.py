"""Dagster's web page answers pages of this machine only, and carries out nothing that a link asks for."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from typing import Any

import pytest

from pipelines.assets.web import OnlyThisMachine

HERE = "http://127.0.0.1:3000"


@dataclass
class Page:
    """The guard before an application that notes that it was reached."""

    reached: bool = False
    sent: list[dict[str, Any]] = field(default_factory=list)

    def ask(self, method: str, path: str, *, kind: str = "http", host: str = "127.0.0.1:3000", **headers: str) -> bool:
        """Whether the application was reached; else it was refused."""
        told = {"Host": host, **{name.replace("_", "-"): value for name, value in headers.items()}}
        scope = {"type": kind, "method": method, "path": path, "query_string": b"query=mutation"}
        scope["headers"] = [(name.lower().encode(), value.encode()) for name, value in told.items()]

        async def app(*_: object) -> None:
            self.reached = True

        async def receive() -> dict[str, Any]:
            return {}

        async def send(message: Any) -> None:
            self.sent.append(message)

        self.reached, self.sent = False, []
        asyncio.run(OnlyThisMachine(app)(scope, receive, send))
        refused = [m for m in self.sent if m.get("status") == 403 or m["type"] == "websocket.close"]
        assert bool(refused) != self.reached
        return self.reached


@pytest.fixture
def page() -> Page:
    return Page()


@pytest.mark.parametrize("name", ["127.0.0.1:3000", "localhost:3000", "[::1]:3000"])
def test_this_machine_by_its_own_names_is_answered(page: Page, name: str) -> None:
    assert page.ask("GET", "/", host=name)
    assert page.ask("POST", "/graphql", host=name, Origin=f"http://{name}")
    assert page.ask("GET", "/graphql", kind="websocket", host=name, Origin=f"http://{name}")


@pytest.mark.parametrize("name", ["evil.example:3000", "127.0.0.1.evil.example", "192.168.1.7:3000", "", "[::1"])
def test_another_name_in_the_address_is_refused(page: Page, name: str) -> None:
    assert not page.ask("GET", "/", host=name)
    assert not page.ask("POST", "/graphql", host=name, Origin=f"http://{name}")


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1:8000", "file://", ""])
def test_what_another_page_sends_is_refused(page: Page, origin: str) -> None:
    assert not page.ask("POST", "/graphql", Origin=origin)
    assert not page.ask("GET", "/graphql", kind="websocket", Origin=origin)


def test_a_link_changes_nothing(page: Page) -> None:
    assert not page.ask("GET", "/graphql")
    assert not page.ask("HEAD", "/graphql/")
    assert page.ask("GET", "/graphql", Accept="text/html")  # Dagster then gives the empty page and carries nothing out


def test_an_image_or_form_on_another_site_is_refused_and_a_link_to_the_page_is_not(page: Page) -> None:
    assert not page.ask("GET", "/", Sec_Fetch_Site="cross-site", Sec_Fetch_Mode="no-cors")
    assert page.ask("GET", "/", Sec_Fetch_Site="cross-site", Sec_Fetch_Mode="navigate")
