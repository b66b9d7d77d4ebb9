from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.job.sizes import byte_count, byte_words, memory_words


@pytest.mark.parametrize(
    ("count", "words"),
    [(4000, "4 kB"), (61_301, "61.4 kB"), (999_990, "1000 kB"), (1_500_000, "1.5 MB"), (10**9, "1000 MB")],
)
def test_bytes_in_words_are_never_too_few(count: int, words: str) -> None:
    assert words == byte_words(count)


@given(st.integers(5, 999_999))
def test_whole_kilobytes_are_exact(kilobytes: int) -> None:
    assert byte_count(f"{kilobytes} kB") == 1000 * kilobytes


@pytest.mark.parametrize(
    ("count", "words"),
    [(800_000_000, "800 MB"), (800_000_001, "800.1 MB"), (1_200_000_000, "1.2 GB"), (10**9, "1 GB")],
)
def test_memory_in_words_is_never_too_little(count: int, words: str) -> None:
    assert words == memory_words(count)
