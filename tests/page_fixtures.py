"""Fixtures of the tests in a real browser; a test file gives the server as ``served``."""

from collections.abc import Callable, Iterator

import pytest
from page_browser import Opened, opening
from page_server import Serving
from playwright.sync_api import Browser


@pytest.fixture
def opened(browser: Browser, served: Serving) -> Iterator[Callable[..., Opened]]:
    """Open a path; gives the page and the list of what went wrong in it."""
    with opening(browser, served) as open_:
        yield open_
