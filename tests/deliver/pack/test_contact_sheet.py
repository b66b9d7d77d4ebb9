"""The sheet that goes with a pack: all it needs, nothing else, and only one that shows what is listed now."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.pack.contact_sheet import read_contact_sheet
from pipeline.deliver.pack.listing import read_listing
from tests.deliver.pack.shoot import PROOF

if TYPE_CHECKING:
    from pathlib import Path

PAGE = "sheet/for-partner/index.html"


def unfit(shoot: Path) -> str:
    """Return why the sheet of a shoot goes with no pack."""
    out = shoot / "out"
    with pytest.raises(ValueError, match=r"^its? ") as caught:
        read_contact_sheet(out, read_listing(out, "partner", None))
    return str(caught.value)


def edit(shoot: Path, old: str, new: str, name: str = PAGE) -> None:
    """Replace all of a text in the page, or in the manifest, where it must be."""
    path = shoot / "out" / name
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_a_sheet_of_today_with_all_that_it_needs(made_shoot: Path) -> None:
    out = made_shoot / "out"
    sheet = read_contact_sheet(out, read_listing(out, "partner", None))
    assert (sheet.round_number, len(sheet.round_id)) == (1, 64)
    assert sheet.paths[0] == PAGE
    folder = out / "sheet" / "for-partner"
    assert set(sheet.paths) == {path.relative_to(out).as_posix() for path in folder.rglob("*") if path.is_file()}


def test_it_goes_with_a_part_of_the_pictures_as_well(made_shoot: Path) -> None:
    out = made_shoot / "out"
    assert read_contact_sheet(out, read_listing(out, "partner", "*/partner/proof")).round_number == 1


def test_what_lies_beside_the_page_and_is_not_shown_stays_at_home(shoot: Path) -> None:
    for name in ("notes.txt", "previews/old.jpg", "index.html.bak"):
        (shoot / "out/sheet/for-partner" / name).write_bytes(b"private")
    out = shoot / "out"
    paths = read_contact_sheet(out, read_listing(out, "partner", None)).paths
    assert not [path for path in paths if path.endswith((".txt", ".bak", "old.jpg"))]


def test_there_is_none(shoot: Path) -> None:
    (shoot / "out" / PAGE).unlink()
    assert unfit(shoot) == "it is not there"


@pytest.mark.parametrize("what", [PAGE, "sheet/for-partner", "sheet"])
def test_no_link_is_followed_to_it(shoot: Path, tmp_path: Path, what: str) -> None:
    place = shoot / "out" / what
    place.rename(tmp_path / "elsewhere")
    place.symlink_to(tmp_path / "elsewhere")
    assert unfit(shoot) == "it is not there"


def test_a_picture_that_it_shows_is_not_there(shoot: Path, tmp_path: Path) -> None:
    picture = next((shoot / "out/sheet/for-partner/previews").iterdir())
    picture.rename(tmp_path / "elsewhere.jpg")
    name = picture.relative_to(shoot / "out").as_posix()
    assert unfit(shoot) == f"it shows {name}, which is not there"
    picture.symlink_to(tmp_path / "elsewhere.jpg")
    assert unfit(shoot) == f"it shows {name}, which is not there"


@pytest.mark.parametrize(
    "link",
    [
        "../../blog/bean-soup.jpg",
        "../../../job.toml",
        "/etc/hosts",
        "..%2f..%2fledger.sqlite",
        "../for-blog/index.html",
    ],
)
@pytest.mark.parametrize("attribute", ["href", "src", "srcset", "data", "poster"])
def test_it_leads_to_something_that_is_not_for_the_partner(shoot: Path, link: str, attribute: str) -> None:
    edit(shoot, "</main>", f'<i {attribute}="{link}"></i></main>')
    assert re.fullmatch(r"it leads to \S+, which is not for 'partner'", unfit(shoot))


@pytest.mark.parametrize(
    "link",
    [
        "#frame-1",
        "https://larder-and-light.example/licence",
        "mailto:ines@larder-and-light.example",
        "data:,x",
        "",
        f"../../{PROOF}",
    ],
)
def test_other_links_are_no_harm(shoot: Path, link: str) -> None:
    edit(shoot, "</main>", f'<a href="{link}">x</a></main>')
    out = shoot / "out"
    assert read_contact_sheet(out, read_listing(out, "partner", None)).round_number == 1


def test_it_shows_an_earlier_picture(shoot: Path) -> None:
    listing = read_listing(shoot / "out", "partner", None)
    key = str(listing.renditions[0].picture_key)
    edit(shoot, key, "f" * 32, "manifest.json")
    assert unfit(shoot) == f"it shows an earlier picture of {listing.renditions[0].name}"


def test_a_rendition_was_added_since(shoot: Path) -> None:
    manifest = shoot / "out" / "manifest.json"
    document = json.loads(manifest.read_text(encoding="utf-8"))
    added = {**document["renditions"][-1], "frame": "spoon", "files": []}
    document["renditions"].append(added)
    manifest.write_text(json.dumps(document), encoding="utf-8")
    assert unfit(shoot) == "it does not show spoon/partner/look"


def test_a_rendition_was_taken_out_since(shoot: Path) -> None:
    manifest = shoot / "out" / "manifest.json"
    document = json.loads(manifest.read_text(encoding="utf-8"))
    document["renditions"] = [one for one in document["renditions"] if one["target"] != "partner/proof"]
    manifest.write_text(json.dumps(document), encoding="utf-8")
    assert unfit(shoot) == "it still shows bowl/partner/proof"


@pytest.mark.parametrize(("old", "new"), [("A bowl of red soup", "A bowl of green soup"), ("Hot. Adv", "Cold. Adv")])
def test_its_words_are_not_those_of_the_files(shoot: Path, old: str, new: str) -> None:
    edit(shoot, old, new, "manifest.json")
    assert unfit(shoot).startswith("its words on bowl/partner/proof are not of today: the files say '")


def test_words_that_html_must_escape_are_found(shoot: Path) -> None:
    """Written into the page as the template engine would: the reader has to undo it."""
    edit(
        shoot,
        "A bowl of red soup",
        "A <bowl> &amp; 'more'\n\n of it".replace("&amp;", "&").replace("\n", "\\n"),
        "manifest.json",
    )
    edit(shoot, "A bowl of red soup", "A &lt;bowl&gt; &amp; &#39;more&#39;\n\n of it")
    out = shoot / "out"
    assert read_contact_sheet(out, read_listing(out, "partner", None)).round_number == 1


@pytest.mark.parametrize("text", ["", "<p>hello", "\0\0", "<script type='application/json'>{</script>",
                                  "<script type='application/json'>" + "[" * 100_000 + "</script>"])  # fmt: skip
def test_another_page(shoot: Path, text: str) -> None:
    (shoot / "out" / PAGE).write_text(text, encoding="utf-8")
    assert unfit(shoot) == "it is no contact sheet of this plateline"


def test_a_page_that_is_no_text(shoot: Path) -> None:
    (shoot / "out" / PAGE).write_bytes(b"\xff\xfe\xff")
    assert unfit(shoot) == "it cannot be read"


def test_the_sheet_of_another_outlet(shoot: Path) -> None:
    edit(shoot, '"outlet":"partner"', '"outlet":"blog"')
    assert unfit(shoot) == "it is another outlet's"
