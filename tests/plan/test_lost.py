"""A share that is lost is told as it is: neither as nothing nor as more."""

from __future__ import annotations

import pytest

from pipeline.plan.lost import lost_share


@pytest.mark.parametrize(
    ("share", "told"),
    [(1e-9, "under 1%"), (0.0005, "under 1%"), (0.00999, "under 1%"), (0.01, "1%"), (0.2, "20%"), (1.0, "100%")],
)
def test_a_share_that_is_lost(share: float, told: str) -> None:
    assert lost_share(share) == told
