"""Intersection over union, by hand."""

from __future__ import annotations

import pytest

from pipeline.light.box import Region
from pipeline.light.overlap import overlap


@pytest.mark.parametrize(
    ("other", "share"),
    [
        (Region(0.0, 0.0, 0.5, 0.5), 1.0),
        (Region(0.25, 0.0, 0.75, 0.5), 1 / 3),
        (Region(0.0, 0.0, 1.0, 1.0), 0.25),
        (Region(0.5, 0.5, 1.0, 1.0), 0.0),
        (Region(0.6, 0.0, 1.0, 1.0), 0.0),
    ],
)
def test_overlap(other: Region, share: float) -> None:
    one = Region(0.0, 0.0, 0.5, 0.5)
    assert overlap(one, other) == pytest.approx(share)
    assert overlap(other, one) == pytest.approx(share)
