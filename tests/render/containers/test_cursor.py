from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.render.containers.cursor import Cursor


@given(st.binary(max_size=20), st.integers(-2, 25), st.integers(-2, 25))
def test_reading_moves_on_or_refuses(data: bytes, at: int, count: int) -> None:
    cursor = Cursor(data, "it", at=at)
    if min(at, count) >= 0 and at + count <= len(data):
        assert cursor.take(count) == data[at : at + count]
        assert (cursor.at, cursor.left) == (at + count, len(data) - at - count)
    else:
        with pytest.raises(ValueError, match="it is cut short"):
            cursor.take(count)
        assert cursor.at == at


def test_numbers_in_either_order() -> None:
    assert [Cursor(b"\x01\x02\x03\x04", "it").number(width) for width in (0, 1, 2, 4)] == [0, 1, 0x0102, 0x01020304]
    assert Cursor(b"\x01\x02", "it", "little").number(2) == 0x0201
    with pytest.raises(ValueError, match="3 bytes wanted at byte 0, 2 left"):
        Cursor(b"\x01\x02", "it").number(3)
