from __future__ import annotations

from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.plan.facts import Contact, Contributor, PictureFacts, Translation
from pipeline.render.exif import exif_block
from pipeline.render.iim import iim_block
from pipeline.render.stated import stated
from pipeline.render.xmp import xmp_packet
from tests.render.containers.pictures import SIZE
from tests.render.every_fact import FACTS, POLICIES
from tests.render.readers import NOT_STATED

if TYPE_CHECKING:
    from pipeline.plan.facts import Policy


@pytest.mark.parametrize("policy", POLICIES)
def test_each_policy_leaves_out_what_it_says_and_nothing_else(policy: Policy) -> None:
    kept = stated(FACTS, policy)
    for field in fields(FACTS):
        value = getattr(kept, field.name)
        assert value == (None if field.name in NOT_STATED[policy] else getattr(FACTS, field.name)), field.name


@pytest.mark.parametrize("policy", POLICIES)
def test_stating_twice_changes_nothing(policy: Policy) -> None:
    assert stated(FACTS, policy) == stated(stated(FACTS, policy), policy)


def test_a_decorative_picture_says_nothing_in_any_language() -> None:
    kept = stated(replace(FACTS, decorative=True, alt=""), "full")
    assert (kept.alt, kept.long_alt) == (None, None)
    assert {(one.alt, one.long_alt) for one in kept.translations} == {(None, None)}
    assert [one.title for one in FACTS.translations] == [one.title for one in kept.translations]


# Char of XML 1.0 (fifth edition), production 2; 2.11 turns U+000D into U+000A.
REFUSED = "\0\x01\x08\x0b\x0c\x0e\x1f\r\ufffe\uffff\ud800\udfff"
PLACES: list[tuple[str, Any]] = [
    *((field.name, None) for field in fields(FACTS) if isinstance(getattr(FACTS, field.name), str)),
    ("creators", lambda text: (text,)),
    ("keywords", lambda text: ("a", text)),
    ("contact", lambda text: Contact(city=text)),
    ("contributors", lambda text: (Contributor("a", text),)),
    ("translations", lambda text: (Translation("fr", alt=text),)),
]


@given(st.sampled_from(REFUSED), st.sampled_from(PLACES))
def test_what_no_file_can_carry_is_refused_wherever_it_stands(character: str, place: tuple[str, Any]) -> None:
    name, inside = place
    changed: dict[str, Any] = {name: f"a{character}b" if inside is None else inside(f"a{character}b")}
    facts = replace(FACTS, **changed)
    sentence = rf"^{name.replace('_', ' ')} holds U\+{ord(character):04X}, a character no file can carry$"
    with pytest.raises(ValueError, match=sentence):
        stated(facts, "full")
    with pytest.raises(ValueError, match=sentence):
        xmp_packet(facts, "full")
    with pytest.raises(ValueError, match=sentence):
        iim_block(facts, "full")
    with pytest.raises(ValueError, match=sentence):
        exif_block(facts, "full", None, SIZE, 300, srgb=True)


@given(
    st.text(
        st.characters(exclude_categories=["Cs"], exclude_characters="\r\ufffe\uffff").filter(
            lambda character: character in "\t\n" or character >= " "
        )
    )
)
def test_all_else_is_kept_as_it_is(text: str) -> None:
    """NFC or not: the words are the photographer's."""
    facts = PictureFacts(language="en", title=text, keywords=(text,))
    assert facts == stated(facts, "public")


def test_what_is_left_out_may_be_anything() -> None:
    assert stated(replace(FACTS, job_id="a\rb"), "public").job_id is None
