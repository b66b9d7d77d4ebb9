"""No connection of one test is left for another one to close."""

from __future__ import annotations

import gc
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.fixture(autouse=True)
def nothing_left_to_close() -> Iterator[None]:
    """Let go of the connections that never came to be.

    The library closes each when it is collected. Where that happens while the next one begins, it waits for a lock
    which the very thread it is in holds, for ever.
    """
    yield
    gc.collect()
