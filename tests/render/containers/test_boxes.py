from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.render.containers.boxes import MediaBox, read_boxes, write_box, write_full_box

KINDS = st.binary(min_size=4, max_size=4)


@given(st.lists(st.builds(MediaBox, KINDS, st.binary(max_size=40)), max_size=5))
def test_boxes_come_back(drawn: list[MediaBox]) -> None:
    assert read_boxes(b"".join(write_box(one.kind, one.body) for one in drawn), "it") == tuple(drawn)


def test_the_three_forms_of_size() -> None:
    """ISO/IEC 14496-12, 4.2: 32 bits; 1 and then 64 bits; 0 for all that is left."""
    small = b"\0\0\0\x0afreeab"
    large = b"\0\0\0\x01free" + (18).to_bytes(8, "big") + b"cd"
    rest = b"\0\0\0\0mdatef"
    assert read_boxes(small + large + rest, "it") == (
        MediaBox(b"free", b"ab"),
        MediaBox(b"free", b"cd"),
        MediaBox(b"mdat", b"ef"),
    )


def test_a_full_box_begins_with_version_and_flags() -> None:
    assert write_full_box(b"infe", 2, 1, b"x") == b"\0\0\0\x0dinfe\x02\0\0\x01x"


@pytest.mark.parametrize(
    "data",
    [b"\0", b"\0\0\0\x08", b"\0\0\0\x09free", b"\0\0\0\x07free", b"\0\0\0\x01free" + bytes(7) + b"\x0f", b"\xff" * 8],
)
def test_boxes_that_do_not_fit_are_refused(data: bytes) -> None:
    with pytest.raises(ValueError, match="it is cut short"):
        read_boxes(data, "it")
