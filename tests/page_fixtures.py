"""Fixtures of the tests in a real browser; a test file gives the server as ``served``."""

from collections.abc import Callable, Iterator
from functools import cache

import pytest
from page_browser import Opened, opening
from page_server import Serving
from playwright.sync_api import Browser


@pytest.fixture
def opened(browser: Browser, served: Serving) -> Iterator[Callable[..., Opened]]:
    """Open a path; gives the page and the list of what went wrong in it."""
    with opening(browser, served) as open_:
        yield open_


@pytest.fixture(scope="module")
def seen(browser: Browser, served: Serving) -> Iterator[Callable[..., Opened]]:
    """The same for tests that only look: each path is opened once a width and scheme, and stays open."""
    with opening(browser, served) as open_:
        yield cache(open_)
