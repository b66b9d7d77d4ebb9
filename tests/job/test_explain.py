"""The sentences about what is wrong in a file, judged as a reader of TOML would."""

from __future__ import annotations

import datetime as dt
import json
import tomllib
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from pipeline.job.explain import MOST_FAULTS, explain, found_text, json_text, key_text, nearest, place, toml_text
from pipeline.job.model import CropHand, FrameEntry, JobFile, PairEntry, Shoot, Sponsor
from pipeline.job.target import OutletProfile, Sharpen, Table, Target

if TYPE_CHECKING:
    from pipeline.faults import Fault


def said_of(model: type[BaseModel], text: str, prefix: str = "") -> list[str]:
    """Return the sentences about a piece of TOML that should be a table of this kind."""
    data = tomllib.loads(text)
    with pytest.raises(ValidationError) as error:
        model.model_validate_json(json_text(data))
    return [str(fault) for fault in explain(error.value, model, "job.toml", data, prefix)]


def faults_of(model: type[BaseModel], data: dict[str, Any]) -> list[Fault]:
    try:
        model.model_validate_json(json_text(data))
    except ValidationError as error:
        return explain(error, model, "job.toml", data)
    return []


@pytest.mark.parametrize(
    ("word", "close"),
    [("blog/her", "blog/hero"), ("BLOG/HERO", "blog/hero"), ("feed", None), ("", None), ("blog-step", "blog/step")],
)
def test_the_nearest_name_is_close_whatever_its_case(word: str, close: str | None) -> None:
    assert close == nearest(word, ["blog/hero", "blog/step"])


VALUES = st.recursive(
    st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats(allow_nan=False)
    | st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x7f"))
    | st.dates()
    | st.times()
    | st.datetimes(),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x7f")), inner, max_size=3
        )
    ),
    max_leaves=8,
)


@given(VALUES)
def test_a_found_value_is_shown_as_toml_writes_it(value: object) -> None:
    text = toml_text(value)
    assert "\n" not in text
    assert tomllib.loads(f"a = {text}") == {"a": value}


def test_what_is_no_number_is_shown_as_toml_writes_it() -> None:
    assert toml_text(tomllib.loads("a = [inf, -inf, nan, 1e400]")) == "{a = [inf, -inf, nan, inf]}"


def test_a_long_value_is_cut() -> None:
    assert len(found_text("a" * 1000)) == 60
    assert found_text("a" * 58) == '"' + "a" * 58 + '"'


@pytest.mark.parametrize(
    ("key", "text"), [("title", "title"), ("blog/hero", '"blog/hero"'), ('a"b', r'"a\"b"'), ("", '""')]
)
def test_keys_are_bare_where_they_may_be(key: str, text: str) -> None:
    assert text == key_text(key)


@pytest.mark.parametrize(
    ("location", "words"),
    [
        ((), ""),
        (("shoot", "title"), "shoot: title"),
        (("frames", 1, "targets", 0), "frames[2] overhead.tif: targets[1]"),
        (("frames", 0, "file"), "frames[1]: file"),
        (("frames", 1, "alt", "<table>", "en"), "frames[2] overhead.tif: alt: en"),
        (("frames", 1, "alt", "<table>", "not a tag", "[key]"), 'frames[2] overhead.tif: alt."not a tag"'),
        (("targets", "blog/hero", "widths", 2), 'targets."blog/hero": widths[3]'),
        (("frames", 7, "file"), "frames[8]: file"),
    ],
)
def test_places_are_counted_as_a_reader_counts(location: tuple[str | int, ...], words: str) -> None:
    frames = [{"file": 3}, {"file": "overhead.tif", "targets": ["x"], "alt": {"not a tag": ""}}]
    assert words == place(location, {"frames": frames, "targets": {"blog/hero": {"widths": []}}})


@pytest.mark.parametrize("model", [JobFile, Shoot, Sponsor, CropHand, FrameEntry, Target, Sharpen, OutletProfile])
def test_each_needed_key_comes_with_an_example_that_is_right(model: type[Table]) -> None:
    needed = {name: field for name, field in model.model_fields.items() if field.is_required()}
    said = said_of(model, "")
    assert len(said) == len(needed)
    for (name, field), sentence in zip(needed.items(), said, strict=True):
        start = f"job.toml: {name}: nothing is given; "
        assert sentence.startswith(start)
        advice = sentence.removeprefix(start)
        if field.examples:
            example = tomllib.loads(advice.removeprefix("write, for example, "))
            assert [name] == list(example)
            assert name not in {fault.where for fault in faults_of(model, example)}
        else:
            heading = advice.removeprefix("it needs a table ").replace(".some-name", "")
            (headed,) = tomllib.loads(heading)
            assert name == headed


@pytest.mark.parametrize(
    ("model", "text", "sentence"),
    [
        (Shoot, 'title = "a"\ntitel = "b"', "titel: 'titel' is no key of this table; its keys are title, slug, date,"),
        (Shoot, "title = 3", "title: found 3; it must be text in quotes"),
        (Shoot, 'title = ""', 'title: found ""; write some words'),
        (Shoot, 'title = "a"\ndate = 2026-09-12T10:00:00', "date: found 2026-09-12T10:00:00; it must be a date alone"),
        (
            Shoot,
            'title = "a"\ndate = 10:00:00',
            "date: found 10:00:00; it must be a date alone, without quotes, such as",
        ),
        (Shoot, 'title = "a"\ndate = "12 September"', 'date: found "12 September"; it must be a date alone, without'),
        (
            Shoot,
            'title = "a"\ndate = 20260912',
            "date: found 20260912; it must be a date alone, without quotes, such as",
        ),
        (Shoot, 'title = "a"\nkeywords = "a, b"', 'keywords: found "a, b"; it must be a list in square brackets'),
        (Shoot, 'title = "a"\nkeywords = [1]', "keywords[1]: found 1; it must be text in quotes"),
        (Shoot, 'title = "a"\ncontent_width = 10', "content_width: found 10; it must be at least 200"),
        (Shoot, 'title = "a"\ncontent_width = 720.5', "content_width: found 720.5; it must be a whole number"),
        (Shoot, 'title = "a"\ncontent_width = true', "content_width: found true; it must be a whole number"),
        (Sharpen, 'medium = "screen"\namount = 3', "amount: found 3; it must be at most 2"),
        (Sharpen, 'medium = "screen"\namount = nan', "amount: found nan; it must be a plain number such as 0.5"),
        (Sharpen, 'medium = "screen"\namount = "1"', 'amount: found "1"; it must be a number'),
        (
            Sharpen,
            'medium = "scren"',
            "found \"scren\"; it must be 'screen', 'paper' or 'none'; did you mean 'screen'?",
        ),
        (JobFile, "frames = 3", "frames: found 3; write each of them as a table [[frames]]"),
        (JobFile, "frames = [3]", "frames[1]: found 3; it must be a table"),
        (JobFile, 'shoot = "soup"', 'shoot: found "soup"; it must be a table'),
        (JobFile, "profiles = []", "profiles: found []; it must hold at least 1"),
        (JobFile, "pixel_limit = 10", "pixel_limit: found 10; it must be at least 1000000"),
        (FrameEntry, "decorative = 1", "decorative: found 1; it must be true or false"),
        (
            FrameEntry,
            "alt = 3",
            'alt: found 3; it must be text, or a table by language such as { en = "...", fr = "..." }',
        ),
        (FrameEntry, "caption.en = 3", "caption: en: found 3; it must be text in quotes"),
        (
            FrameEntry,
            "caption.a_b = 'x'",
            'caption: a_b: found "a_b"; write a language tag such as "en", "fr" or "pt-BR"',
        ),
        (FrameEntry, "credit.creator = []", "credit: creator: found []; it must hold at least 1"),
        (FrameEntry, "credit.creator = 3", "credit: creator: found 3; it must be a name in quotes, or a list of names"),
        (FrameEntry, "credit.creator = ['a', 3]", "credit: creator[2]: found 3; it must be text in quotes"),
        (CropHand, 'anchor = "center"', "found \"center\"; it must be 'thirds' or 'centre'; did you mean 'centre'?"),
        (
            CropHand,
            "anchor = [2, 0]",
            "anchor: found [2, 0]; write [across, down] as fractions from 0 (left or top edge)",
        ),
        (CropHand, "anchor = 3", "anchor: found 3; it must be 'thirds', 'centre' or a point such as [0.5, 0.4]"),
        (
            PairEntry,
            "pair = ['a']",
            'pair[2]: nothing is given; write, for example, pair = ["soup-from-above", "first-spoonful"]',
        ),
        (Target, "size_px = [100]", "size_px[2]: nothing is given; a number is needed here"),
        (Target, "size_px = [1, 2, 3]", "size_px: found [1, 2, 3]; it may hold at most 2 of them"),
        (Target, "widths = [0]", "widths[1]: found 0; it must be at least 1"),
        (
            Target,
            "formats = ['jpg']",
            "formats[1]: found \"jpg\"; it must be 'jpeg', 'png', 'webp', 'tiff' or 'avif'; did",
        ),
        (Target, "safe.top = 1", "safe: top: found 1; it must be less than 1"),
        (
            OutletProfile,
            'outlet = "My Blog"',
            'found "My Blog"; it must be made of a-z, 0-9 and single hyphens, such as',
        ),
        (
            OutletProfile,
            "[targets.'A b']",
            'targets."A b": found "A b"; it must be made of a-z, 0-9 and single hyphens',
        ),
    ],
)
def test_each_kind_of_fault_has_its_own_sentence(model: type[BaseModel], text: str, sentence: str) -> None:
    said = said_of(model, text)
    assert [one for one in said if sentence in one], said


def test_faults_come_in_the_order_of_the_file_and_what_is_missing_last() -> None:
    said = said_of(Shoot, "zzz = 1\nslug = 1\nlanguage = 1\naaa = 1")
    assert [sentence.split(": ")[1] for sentence in said] == ["zzz", "slug", "language", "aaa", "title"]


def test_a_prefix_says_where_the_table_stands() -> None:
    assert said_of(Sharpen, 'medium = "paper"\namout = 1', 'targets."a/b"')[0].startswith(
        'job.toml: targets."a/b": amout: '
    )


def test_a_file_of_nothing_but_faults_is_cut_short() -> None:
    said = said_of(Shoot, "title = 'a'\n" + "".join(f"key{number} = 1\n" for number in range(5000)))
    assert len(said) == MOST_FAULTS + 1
    assert said[-1] == f"job.toml: {5000 - MOST_FAULTS} more faults are in it; mend these first"


TREES = st.recursive(
    st.none() | st.booleans() | st.integers(-5, 10**6) | st.floats(-2, 3) | st.sampled_from(["", "a", "blog", "1:1"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(
                [*FrameEntry.model_fields, *Target.model_fields, *JobFile.model_fields, *Shoot.model_fields]
            ),
            inner,
            max_size=4,
        )
    ),
    max_leaves=12,
)
JARGON = ("Input", "valid ", "should", "dict", "tuple", "array", "object", "JSON", "None", "null", "pydantic", "type")


@given(
    st.sampled_from([JobFile, Target, OutletProfile, FrameEntry]), st.dictionaries(st.text("abc"), TREES, max_size=3)
)
def test_no_words_of_the_library_reach_the_person(model: type[BaseModel], extra: dict[str, Any]) -> None:
    data = dict(zip(model.model_fields, extra.values(), strict=False))
    for fault in faults_of(model, data):
        said = f"{fault.wanted} {fault.found}" if "found" not in fault.found else fault.wanted
        assert not [word for word in JARGON if word in said], str(fault)


def test_dates_are_checked_as_the_iso_text_they_are() -> None:
    tables = {"a": dt.date(2026, 9, 12), "b": dt.time(10, 30), "c": dt.datetime(2026, 9, 12, 10, 30)}  # noqa: DTZ001
    assert json.loads(json_text(tables)) == {"a": "2026-09-12", "b": "10:30:00", "c": "2026-09-12T10:30:00"}
