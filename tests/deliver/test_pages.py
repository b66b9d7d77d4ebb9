"""Templates are compiled once, and their pages stay the same however they were come by."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING, NoReturn

import jinja2
import pytest

from pipeline.deliver import pages

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    pages.environment.cache_clear()
    yield tmp_path / "cache" / "plateline"
    pages.environment.cache_clear()


def page() -> str:
    """Return a page as a process that has just begun makes it."""
    pages.environment.cache_clear()
    return filled_in()


def filled_in() -> str:
    return pages.rendered("web_head.html", tags=[("og:title", "Soup & bread")], missing=[], json=None)


def nothing_is_compiled(monkeypatch: pytest.MonkeyPatch) -> None:
    def compiled(*_: object, **__: object) -> NoReturn:
        raise AssertionError

    monkeypatch.setattr(jinja2.Environment, "compile", compiled)


def test_what_was_compiled_is_used_by_the_next_run(cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = page()
    assert list(cache.iterdir())
    nothing_is_compiled(monkeypatch)
    assert page() == first


def test_another_text_is_compiled_anew(cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page()
    monkeypatch.setattr(pages, "package_text", lambda _: "{{ tags[0][1] }}")
    assert page() == "Soup &amp; bread"
    assert cache.is_dir()


def test_other_rules_of_reading_compile_anew(cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page()
    before = set(cache.iterdir())
    pages.environment.cache_clear()
    monkeypatch.setattr(pages.environment(), "trim_blocks", False)
    filled_in()
    assert set(cache.iterdir()) - before


@pytest.mark.parametrize("harm", ["cut", "changed", "gone", "no folder"])
def test_what_was_kept_may_be_damaged_or_gone(cache: Path, harm: str) -> None:
    first = page()
    for kept in cache.iterdir():
        data = bytearray(kept.read_bytes())
        if harm == "gone":
            kept.unlink()
        else:
            data[len(data) // 2] ^= 1
            kept.write_bytes(data[:40] if harm == "cut" else data)
    if harm == "no folder":
        shutil.rmtree(cache)
        cache.write_text("no folder")
    assert page() == first
