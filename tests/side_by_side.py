"""Tests on several processes: which of them stay together on one, and which are begun first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from xdist.scheduler import LoadScopeScheduling

if TYPE_CHECKING:
    import pytest
    from xdist.remote import Producer

# A file is one group. So is a folder whose files share what takes long to set up: an exported shoot, a browser.
FOLDERS = ("tests/browser/", *(f"tests/deliver/{name}/" for name in ("pack", "review", "sheet", "verify", "web")))
# The groups that take longest, so that none of them is still at work when all others are done.
FIRST = (
    "tests/deliver/test_killed.py",
    "tests/quality/test_quality.py",
    "tests/deliver/sheet/",
    "tests/browser/",
    "tests/deliver/test_hindered.py",
    "tests/quality/test_encoding.py",
    "tests/render/test_readers_agree.py",
    "tests/plan/test_crop.py",
    "tests/deliver/cluster/test_client.py",
    "tests/deliver/cluster/test_away.py",
    "tests/deliver/storage/test_export.py",
    "tests/frames/inspection/test_sharpness.py",
    "tests/render/test_budget.py",
    "tests/deliver/test_work.py",
    "tests/deliver/test_export.py",
    "tests/render/test_turn.py",
    "tests/deliver/test_watch.py",
)


def group(test: str) -> str:
    """Return the group of a test, from its address below the checkout (`folder/file.py::name[example]`)."""
    file = test.partition("::")[0]
    return next((folder for folder in FOLDERS if file.startswith(folder)), file)


def place(test: str) -> int:
    """Return where the group of a test stands in the order of beginning; all but the longest stand alike."""
    found = group(test)
    return FIRST.index(found) if found in FIRST else len(FIRST)


class ByGroup(LoadScopeScheduling):
    """Give groups, in the order of the tests, to whichever process is free."""

    def __init__(self, config: pytest.Config, log: Producer) -> None:
        config.option.loadscopereorder = False  # by how many tests a group has, which says little of how long it takes
        super().__init__(config, log)

    def _split_scope(self, nodeid: str) -> str:
        return group(nodeid)
