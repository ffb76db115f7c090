"""A server that is killed, and one that takes its place."""

from __future__ import annotations

from typing import Any

import pytest

from tests.page.conftest import Screen, kept_draft

pytestmark = pytest.mark.slow


def test_a_killed_server_loses_nothing(serve: Any, browser: Any) -> None:
    served = serve()
    screen = Screen(browser, served)
    page = screen.go("/mirror/first/readings")
    page.locator(".window input").nth(1).fill("0.56")
    kept_draft(served.folder / "first", lambda kept: kept["rounds"][0]["cells"][1] == "0.56")
    served.kill()
    served.start()
    page = screen.go("/mirror/first/readings")
    page.wait_for_function("document.querySelectorAll('.window input')[1]?.value === '0.56'")
    screen.close()
    served.stop()
