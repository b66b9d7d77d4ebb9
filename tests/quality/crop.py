"""The crop against a search over every box: the oracle and the requests of its own tests."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hypothesis import HealthCheck, assume, given, settings

from pipeline.plan.crop import CropRequest, find_crop
from tests.plan.crop_oracle import Oracle
from tests.plan.test_crop import fits, requests
from tests.quality.figure import Figure, exactly

if TYPE_CHECKING:
    from collections.abc import Iterator

SIDES_PX = (1, 22)
REQUESTS, REQUESTS_IN_FULL = 120, 4000


def figures(*, full: bool) -> Iterator[Figure]:
    """Count the random requests whose crop is not the one that trying every box finds."""
    tried, different = 0, 0

    @settings(
        max_examples=REQUESTS_IN_FULL if full else REQUESTS,
        derandomize=True,
        database=None,
        deadline=None,
        suppress_health_check=[HealthCheck.too_slow],
    )
    @given(requests(*SIDES_PX))
    def judge(request: CropRequest) -> None:
        nonlocal tried, different
        assume(fits(request))
        crop = find_crop(request)
        tried += 1
        different += Oracle(request).find() != (crop.box, crop.reached)

    judge()
    yield Figure(
        "crop", f"differences from a search over every box, in {tried:,} random requests", different, exactly(0),
        "house promise", "brute force in whole numbers",
    )  # fmt: skip
