from __future__ import annotations

import pytest

from pipeline.light.colour_names import BUILT_IN, display_name
from pipeline.light.spaces import RGB_TARGETS


def test_every_colour_of_ours_has_a_name_in_words() -> None:
    assert {*RGB_TARGETS, "grey"} == set(BUILT_IN)


@pytest.mark.parametrize(("colour", "name"), [("srgb", "sRGB"), ("adobe-rgb", "Adobe RGB"), ("our-press", "our-press")])
def test_a_profile_of_the_jobs_goes_by_its_own_name(colour: str, name: str) -> None:
    assert name == display_name(colour)
