"""The packaged outlet profiles against published figures, and a folder of her own."""

from __future__ import annotations

import tomllib
from fractions import Fraction
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import pytest

from pipeline.job.outlets import Outlet, join_outlets, override_targets, own_outlets, packaged_outlets
from pipeline.light.ratio import parse_ratio
from pipeline.light.trim import size_px
from tests.small_shoot import OWN_TARGET

if TYPE_CHECKING:
    from pathlib import Path

PACKAGED = {
    entry.name: tomllib.loads(entry.read_text(encoding="utf-8"))
    for entry in files("pipeline.profiles").iterdir()
    if entry.name.endswith(".toml")
}
TARGETS = [
    pytest.param(target, id=f"{data['outlet']}/{name}")
    for data in PACKAGED.values()
    for name, target in data["targets"].items()
]
RATIOS = {"ratio", "also_seen"}  # numbers that are written as text


def bears_a_number(key: str, value: object) -> bool:
    """Return whether a key says a number: also inside a table or a list, or as a ratio."""
    if isinstance(value, dict):
        return any(bears_a_number(inner, below) for inner, below in value.items())
    if isinstance(value, list):
        return any(bears_a_number(key, one) for one in value)
    return key in RATIOS or (isinstance(value, int | float) and not isinstance(value, bool))


@pytest.mark.parametrize("target", TARGETS)
def test_every_number_of_a_packaged_target_has_a_source(target: dict[str, Any]) -> None:
    numbers = {key for key, value in target.items() if key != "source" and bears_a_number(key, value)}
    assert numbers == set(target["source"])
    assert numbers & {"widths", "size_px", "size_mm"}, "its size, at the least, is a number"


@pytest.mark.parametrize("target", TARGETS)
def test_every_source_is_a_standard_or_says_that_it_is_none(target: dict[str, Any]) -> None:
    for line in target["source"].values():
        assert line.startswith(("ISO ", "house choice", "common practice, no source")) or "exactly 25.4 mm" in line


@pytest.mark.parametrize("target", TARGETS)
def test_every_packaged_target_says_what_happens_when_it_cannot_be_met(target: dict[str, Any]) -> None:
    assert target["too_small"] in {"shrink", "refuse"}
    assert target["keep_miss"] in {"caution", "refuse"}


def test_what_each_packaged_outlet_offers() -> None:
    assert {data["outlet"]: list(data["targets"]) for data in PACKAGED.values()} == {
        "blog": [
            "hero", "step", "card-square", "card-four-three", "card-wide", "link-preview", "letter", "video-still",
        ],
        "feed": ["square", "tall", "two-three", "vertical", "avatar", "two-up", "two-up-tall"],
        "partner": ["proof", "final"],
        "print": ["book-page", "a4", "eight-by-ten"],
    }  # fmt: skip


def test_the_packaged_outlets_are_read_by_their_names() -> None:
    outlets = packaged_outlets()
    assert sorted(data["outlet"] for data in PACKAGED.values()) == list(outlets)
    assert all(outlet.place.endswith(".toml (ships with plateline)") for outlet in outlets.values())


def target(name: str) -> Any:  # noqa: ANN401 (a Target)
    outlet, _, key = name.partition("/")
    return packaged_outlets()[outlet].profile.targets[key]


@pytest.mark.parametrize("name", ["blog/card-square", "blog/card-four-three", "blog/card-wide"])
def test_recipe_cards_have_the_shapes_and_the_pixels_that_recipe_search_asks_for(name: str) -> None:
    # Source: schema.org Recipe image: 16x9, 4x3 and 1x1, at least 50 000 px in all (common practice, no source).
    card = target(name)
    assert parse_ratio(card.ratio) in {Fraction(16, 9), Fraction(4, 3), Fraction(1)}
    assert min(card.widths) ** 2 / parse_ratio(card.ratio) >= 50_000


@pytest.mark.parametrize(
    ("name", "size"),
    [("blog/link-preview", (1200, 630)), ("feed/tall", (1080, 1350)), ("feed/vertical", (1080, 1920))],
)
def test_shapes_of_common_practice(name: str, size: tuple[int, int]) -> None:
    # Common practice, no source: trade pages agree on these pixel sizes.
    one = target(name)
    width = one.size_px[0] if one.size_px else one.widths[-1]
    ratio = Fraction(*one.size_px) if one.size_px else parse_ratio(one.ratio)
    assert size == (width, width / ratio)


def test_a4_is_the_size_of_iso_216() -> None:
    # Source: ISO 216, A series: A0 is 841 x 1189 mm, each next size halves the long side, rounded down.
    short, long = 841, 1189
    for _ in range(4):
        short, long = long // 2, short
    assert (short, long) == target("print/a4").size_mm
    assert (size_px((short, long), 300, 3).width, size_px((short, long), 300, 3).height) == (2551, 3579)


def test_eight_by_ten_inches_are_2400_by_3000_pixels() -> None:
    # Source: one inch is exactly 25.4 mm (international yard and pound agreement, 1959); 8 x 300, 10 x 300.
    one = target("print/eight-by-ten")
    size = size_px(one.size_mm, one.ppi, one.bleed_mm)
    assert (size.width, size.height) == (2400, 3000)


def own(folder: Path, **profiles: str) -> tuple[list[Outlet], list[str]]:
    for name, text in profiles.items():
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    outlets, faults = own_outlets(folder, "my-profiles")
    return outlets, [str(fault) for fault in faults]


MINE = f'outlet = "mine"\nabout = "My own"\n[targets.square]{OWN_TARGET}'


def test_a_folder_of_own_profiles_is_read(tmp_path: Path) -> None:
    outlets, faults = own(tmp_path, mine=MINE, other=MINE.replace('"mine"', '"other"'))
    assert [(outlet.profile.outlet, outlet.place) for outlet in outlets] == [
        ("mine", "my-profiles/mine.toml"),
        ("other", "my-profiles/other.toml"),
    ]
    assert faults == []


def test_hidden_files_and_other_files_are_no_profiles(tmp_path: Path) -> None:
    (tmp_path / "._mine.toml").write_bytes(b"\0\5\x16\7")
    (tmp_path / "notes.txt").write_text("not TOML at all")
    (tmp_path / "MORE.TOML").write_text(MINE)
    outlets, faults = own(tmp_path)
    assert ([outlet.place for outlet in outlets], faults) == (["my-profiles/MORE.TOML"], [])


def test_every_fault_of_every_own_profile_is_told(tmp_path: Path) -> None:
    (tmp_path / "folder.toml").mkdir()
    (tmp_path / "junk.toml").write_bytes(b"\xff\xfe\0")
    _, faults = own(tmp_path, broken="outlet = ", mine=MINE.replace("1:1", "1x1").replace("[100]", "100"))
    assert faults == [
        "my-profiles/broken.toml: end of the file: it ends in the middle of a value; close what was opened last",
        "my-profiles/folder.toml: this is a folder; name the file itself, such as job.toml in it",
        "my-profiles/junk.toml: line 1: it is not text in UTF-8; save it as UTF-8 text, or name another file",
        (
            'my-profiles/mine.toml: targets: square: ratio: found "1x1"; '
            "write a ratio as width:height, both above 0, for example 16:9"
        ),
        "my-profiles/mine.toml: targets: square: widths: found 100; it must be a list in square brackets",
    ]


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("absent", "my-profiles: there is no such folder; name a folder of outlet profiles that is there"),
        ("file", "my-profiles: this is a file, not a folder; name a folder of outlet profiles"),
        ("empty", "my-profiles: no .toml file is in this folder; put your outlet profiles in it, one file each"),
        ("a" * 300, "my-profiles: it cannot be read (file name too long); name a folder of outlet profiles"),
        ("a\0b", "my-profiles: it cannot be read (embedded null byte); name a folder of outlet profiles"),
    ],
)
def test_what_is_no_folder_of_profiles(tmp_path: Path, name: str, said: str) -> None:
    (tmp_path / "file").touch()
    (tmp_path / "empty").mkdir()
    outlets, faults = own_outlets(tmp_path / name, "my-profiles")
    assert ([said], []) == ([str(fault) for fault in faults], outlets)


def test_an_outlet_found_twice_shows_both_places(tmp_path: Path) -> None:
    outlets, _ = own(tmp_path, a=MINE, b=MINE, blog=MINE.replace('"mine"', '"blog"'))
    joined, faults = join_outlets(packaged_outlets(), outlets)
    assert [str(fault) for fault in faults] == [
        (
            "my-profiles/b.toml: outlet: the outlet 'mine' is also in my-profiles/a.toml; "
            'rename one of them; to change single targets, write [targets."outlet/target"] in the job'
        ),
        (
            "my-profiles/blog.toml: outlet: the outlet 'blog' is also in blog.toml (ships with plateline); "
            'rename one of them; to change single targets, write [targets."outlet/target"] in the job'
        ),
    ]
    assert (joined["mine"].place, joined["blog"].place) == ("my-profiles/a.toml", "blog.toml (ships with plateline)")


def changed(text: str, **more: bool) -> tuple[dict[str, Any], list[str]]:
    targets, faults = override_targets(packaged_outlets(), tomllib.loads(text)["targets"], "job.toml", **more)
    return dict(targets), [str(fault) for fault in faults]


def test_a_change_keeps_what_it_does_not_name() -> None:
    targets, faults = changed('[targets."blog/hero"]\nwidths = [1000, 500]')
    before = target("blog/hero")
    assert faults == []
    assert targets["blog/hero"] == before.model_copy(update={"widths": (1000, 500)})
    assert targets["blog/step"] == target("blog/step")


def test_a_change_in_a_table_keeps_the_tables_other_keys() -> None:
    targets, faults = changed(
        '[targets."partner/final".sharpen]\namount = 0.5\n[targets."feed/vertical".safe]\nbottom = 0.25'
    )
    assert faults == []
    assert (targets["partner/final"].sharpen.medium, targets["partner/final"].sharpen.amount) == ("screen", 0.5)
    assert (targets["feed/vertical"].safe.top, targets["feed/vertical"].safe.bottom) == (0.14, 0.25)


@pytest.mark.parametrize(
    ("name", "change", "size"),
    [
        ("blog/hero", "size_px = [900, 500]", (None, None, (900, 500), None)),
        ("blog/letter", 'ratio = "3:2"\nwidths = [600]', ("3:2", (600,), None, None)),
        ("print/a4", "size_px = [900, 500]", (None, None, (900, 500), None)),
        ("blog/letter", "size_mm = [100, 150]", (None, None, None, (100, 150))),
    ],
)
def test_a_change_may_say_the_size_in_another_way(name: str, change: str, size: tuple[object, ...]) -> None:
    targets, faults = changed(f'[targets."{name}"]\n{change}')
    one = targets[name]
    assert faults == []
    assert size == (one.ratio, one.widths, one.size_px, one.size_mm)
    if one.size_mm is None:
        assert (one.bleed_mm, one.safe_mm, one.side, one.ppi_floor) == (0, None, None, None)


def test_a_new_target_at_a_known_outlet() -> None:
    targets, faults = changed(f'[targets."blog/poster"]{OWN_TARGET}')
    assert faults == []
    assert (targets["blog/poster"].ratio, targets["blog/poster"].widths) == ("1:1", (100,))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "[targets.hero]\nreach = 0.2",
            (
                "targets.hero: 'hero' names no target; write outlet/target in quotes, such as "
                "[targets.\"blog/hero\"]; did you mean 'blog/hero'?"
            ),
        ),
        ("[targets.blog.hero]\nreach = 0.2", "targets.blog: 'blog' names no target; write outlet/target in quotes"),
        (
            '[targets."blgo/hero"]\nreach = 0.2',
            (
                "targets.\"blgo/hero\": no outlet that this job names is called 'blgo'; write outlet/target, "
                "with one of blog, feed, partner, print; did you mean 'blog/hero'?"
            ),
        ),
        (
            '[targets."blog/My Hero"]\nreach = 0.2',
            (
                "targets.\"blog/My Hero\": 'My Hero' is no name for a target; the part after the / is made of a-z, 0-9 "
                "and single hyphens, at most 30 letters; did you mean 'blog/hero'?"
            ),
        ),
        ('[targets."blog/.."]\nreach = 0.2', "'..' is no name for a target"),
        ('[targets."blog/"]\nreach = 0.2', "'' is no name for a target"),
        ('[targets."blog/a/b"]\nreach = 0.2', "'a/b' is no name for a target"),
        (f'[targets."blog/{"a" * 31}"]\nreach = 0.2', "is no name for a target"),
        (
            '[targets."blog/hero"]\nwidhts = [5]',
            "targets.\"blog/hero\": widhts: 'widhts' is no key of this table; its keys are about, ratio, widths,",
        ),
        ('[targets."blog/hero".sharpen]\nmedim = "paper"', 'targets."blog/hero": sharpen: medim: '),
        (
            '[targets."blog/poster"]\nratio = "1:1"',
            'targets."blog/poster": about: nothing is given; write, for example, about = "What it is for"',
        ),
    ],
)
def test_what_is_no_change(text: str, said: str) -> None:
    _, faults = changed(text)
    assert [fault for fault in faults if said in fault], faults


def test_where_not_all_outlets_are_known_a_change_at_another_is_no_fault() -> None:
    assert changed('[targets."mine/square"]\nreach = 0.1', whole=False)[1] == []
