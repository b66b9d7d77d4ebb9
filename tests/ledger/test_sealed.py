from __future__ import annotations

import os
import stat
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as some

from pipeline.ledger import sealed
from pipeline.ledger.sealed import digest, keep, kept, opened

if TYPE_CHECKING:
    from pathlib import Path

NAME, SECRET = digest("plan"), digest("the bytes of a job")
WORDS = b'{"said": ["A bowl of soup, seen from above"], "files": ["shoots/soup/bowl.jpg"]}'


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the cache folder of this test, which is not there yet."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache"


@given(some.binary(max_size=2000))
def test_what_is_sealed_is_opened_with_its_secret_alone(data: bytes) -> None:
    whole = sealed.sealed(data, SECRET)
    assert opened(whole, SECRET) == data
    assert opened(whole, digest("the bytes of another job")) is None


def test_no_word_and_no_path_can_be_read_in_it_and_no_two_seals_are_alike(cache: Path) -> None:
    keep(NAME, SECRET, WORDS)
    (place,) = (cache / "plateline").iterdir()
    first = place.read_bytes()
    keep(NAME, SECRET, WORDS)
    second = place.read_bytes()
    for whole in (first, second):
        assert not any(word in whole for word in (b"bowl", b"soup", b"said", b"files"))
    assert kept(NAME, SECRET) == WORDS
    # A stream used twice would give the two texts XORed: here the same text twice, so nothing but zeros.
    assert sum(one == other for one, other in zip(first, second, strict=True)) < len(first) / 8


def test_every_damage_is_seen() -> None:
    whole = sealed.sealed(WORDS, SECRET)
    for place in range(len(whole)):
        spoiled = bytearray(whole)
        spoiled[place] ^= 1 << place % 8
        assert opened(bytes(spoiled), SECRET) is None
        assert opened(whole[:place], SECRET) is None
    assert opened(whole + b"\0", SECRET) is None


def test_it_is_private(cache: Path) -> None:
    old = os.umask(0)
    try:
        keep(NAME, SECRET, WORDS)
    finally:
        os.umask(old)
    (place,) = (cache / "plateline").iterdir()
    assert stat.S_IMODE((cache / "plateline").stat().st_mode) == 0o700
    assert stat.S_IMODE(place.stat().st_mode) == 0o600


@pytest.mark.parametrize("mode", [0o750, 0o707])
def test_a_folder_that_others_may_enter_is_not_used(cache: Path, mode: int) -> None:
    keep(NAME, SECRET, WORDS)
    (cache / "plateline").chmod(mode)
    assert kept(NAME, SECRET) is None
    keep(digest("check"), SECRET, WORDS)
    assert len(list((cache / "plateline").iterdir())) == 1


def test_links_are_not_followed(cache: Path, tmp_path: Path) -> None:
    hers = tmp_path / "hers"
    hers.mkdir(mode=0o700)
    cache.mkdir()
    (cache / "plateline").symlink_to(hers)
    keep(NAME, SECRET, WORDS)
    assert list(hers.iterdir()) == []
    (cache / "plateline").unlink()
    keep(NAME, SECRET, WORDS)
    text = tmp_path / "text"
    text.write_text("hers")
    (cache / "plateline" / f".{os.getpid()}-{NAME.hex()}").symlink_to(text)
    keep(NAME, SECRET, b"other")
    assert text.read_text() == "hers"


@pytest.mark.parametrize("base", ["", "relative/cache"])
def test_without_a_folder_named_it_is_below_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, base: str) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", base)
    monkeypatch.setenv("HOME", str(tmp_path))
    keep(NAME, SECRET, WORDS)
    assert kept(NAME, SECRET) == WORDS
    assert len(list((tmp_path / ".cache" / "plateline").iterdir())) == 1


def test_where_nothing_can_be_kept_nothing_is(cache: Path) -> None:
    cache.write_text("a file")
    keep(NAME, SECRET, WORDS)
    assert kept(NAME, SECRET) is None
    assert cache.read_text() == "a file"


def test_the_oldest_goes_where_too_much_is_kept(cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sealed, "MOST_KEPT", 3)
    names = [digest(str(number)) for number in range(5)]
    for number, name in enumerate(names):
        keep(name, SECRET, WORDS)
        os.utime(cache / "plateline" / name.hex(), ns=(0, number))
    assert [kept(name, SECRET) is not None for name in names] == [False, False, True, True, True]
    monkeypatch.setattr(sealed, "MOST_BYTES", 10)
    keep(names[0], SECRET, WORDS)
    assert kept(names[0], SECRET) is None


def test_lists_of_parts_are_told_apart() -> None:
    assert digest("ab", "c") != digest("a", "bc") != digest("abc")
    assert digest("ab", "\udcff") == digest(b"ab", b"\xff")
