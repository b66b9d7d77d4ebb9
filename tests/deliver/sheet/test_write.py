"""Written sheets: hers, the partner's with nothing of hers in it, and either as one file."""

from __future__ import annotations

import base64
import io
import json
import re
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote, urlsplit

from PIL import Image

from pipeline.cli import main
from pipeline.deliver.sheet.wanted import MOST_SINGLE_BYTES, MOST_SINGLE_FRAMES
from tests.deliver.sheet.real_shoot import (
    FRAMES,
    PRIVATE,
    draw_frame,
    files_below,
    round_of,
    run,
    write_reply,
)
from tests.deliver.sheet.sheet_shoot import articles, parsed, with_class, words
from tests.small_shoot import FRAME, HEAD, write_job

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from xml.etree.ElementTree import Element

    import pytest


HERS = ("the box every crop should hold", "Caution", "Refused", "too small", "Camera", "taken as sRGB", "Keep box")
PARTNERS = "sheet/for-partner"


def page(path: Path) -> Element:
    return parsed(path.read_text(encoding="utf-8"))


def linked(path: Path) -> set[str]:
    """Return the files that a page shows or leads to, as paths beside it."""
    found = page(path)
    links = [one.get("src", "") for one in found.iter("img")] + [one.get("href", "") for one in found.iter("a")]
    links += [part.split()[0] for one in found.iter("img") for part in one.get("srcset", "").split(",") if part]
    return {unquote(link) for link in links if link and not link.startswith("#") and not urlsplit(link).scheme}


def card_of(path: Path, rendition: str) -> Element:
    """Return the first card of a rendition on a written page."""
    return next(card for card in with_class(page(path), "card") if card.get("data-rendition") == rendition)


def change(job: Path, old: str, new: str) -> None:
    """Write the job with other words."""
    text = job.read_text(encoding="utf-8")
    assert old in text
    job.write_text(text.replace(old, new), encoding="utf-8")


# --- what the partner gets -------------------------------------------------------------------------------------------


def test_the_partner_gets_nothing_that_is_hers(job: Path, exiftool: Callable[..., dict[str, Any]]) -> None:
    """Every private word is looked for in every file beside the page, in its name, and in all that exiftool reads."""
    out = job.parent / "out"
    assert run("sheet", job, "--for", "partner", "--single") == 0
    hers = (out / "sheet/index.html").read_text(encoding="utf-8")
    gotten = [*files_below(out / PARTNERS), out / "sheet/for-partner.single.html"]
    assert len(gotten) == 1 + 3 + 5 + 3 + 1  # the page, whole frames, previews, proofs at 100 %, the single file
    for what, private in PRIVATE.items():
        if what not in {"note", "serial", "owner"}:  # these are not even on her own sheet
            assert private in hers, what
        for file in gotten:
            assert private.encode() not in file.read_bytes(), (what, file.name)
            assert private not in str(file.relative_to(out)), what
            if file.suffix == ".jpg":
                assert private not in json.dumps(exiftool(file, "-a", "-ee")), (what, file.name)
    for said in HERS:
        assert said in hers
        for file in gotten:
            if file.suffix == ".html":
                text = words(next(page(file).iter("body")))
                assert said not in text, said
    pictures = re.findall(r"data:image/jpeg;base64,([A-Za-z0-9+/=]+)", gotten[-1].read_text(encoding="utf-8"))
    assert len(pictures) == 3 + 5
    for picture in pictures:
        assert not [one for one in PRIVATE.values() if one.encode() in base64.b64decode(picture)]


def test_the_partner_s_page_shows_its_own_targets_alone_and_stands_by_itself(job: Path) -> None:
    folder = job.parent / "out" / PARTNERS
    shown = page(folder / "index.html")
    names = {
        article.get("data-frame"): [card.get("data-rendition") for card in with_class(article, "card")]
        for article in articles(shown)
    }
    assert names == {
        "bowl-from-above": ["partner/proof", "partner/final"],
        "bread": ["partner/proof", "partner/final"],
        "beans": ["partner/proof"],
    }
    beside = {str(file.relative_to(folder)) for file in files_below(folder)}
    assert linked(folder / "index.html") == beside - {"index.html"}


def test_the_partner_sees_whole_frames_small_and_marked(job: Path) -> None:
    """Where something is laid across it, the picture differs from the one without (mean of 8-bit levels)."""
    out = job.parent / "out"
    for _, slug, _, targets in FRAMES:
        if not any(target.startswith("partner/") for target in targets):
            continue
        with (
            Image.open(out / PARTNERS / "whole" / f"{slug}.jpg") as theirs,
            Image.open(out / "sheet/previews/small" / f"{slug}.jpg") as hers,
        ):
            assert theirs.size == hers.size == (800, 533)
            marked = sum(
                abs(a - b) for a, b in zip(theirs.convert("L").tobytes(), hers.convert("L").tobytes(), strict=True)
            )
        assert marked / (800 * 533) > 5


def test_a_final_that_waits_shows_its_small_preview_alone(job: Path) -> None:
    folder = job.parent / "out" / PARTNERS
    assert [file.name for file in files_below(folder / "full")] == [
        "beans--proof.jpg",
        "bowl-from-above--proof.jpg",
        "bread--proof.jpg",
    ]
    assert "made once you approve it" in words(card_of(folder / "index.html", "partner/final"))
    shown = [one for frame in round_of(folder / "index.html")["frames"] for one in frame["renditions"]]
    assert [one.get("full") for one in shown if one["rendition"] == "partner/final"] == [None, None]


def test_an_approved_final_is_shown_at_100_per_cent_without_what_it_alone_states(
    job: Path, exiftool: Callable[..., dict[str, Any]]
) -> None:
    out = job.parent / "out"
    reply = write_reply(out / PARTNERS / "index.html", job.parent / "reply.json", {"bread": ("approve", "")})
    assert run("reply", job, reply) == 0
    assert run("export", job) == 0
    assert run("sheet", job, "--for", "partner") == 0
    [final] = (out / "partner").glob("*-bread-final-*.jpg")
    shown = out / PARTNERS / "full" / "bread--final.jpg"
    assert exiftool(final)["IFD0:Make"] == "Halden Optik"  # what is delivered says how it was taken
    assert {"IFD0:Make", "IFD0:Model", "ExifIFD:FNumber"} & set(exiftool(shown)) == set()
    with Image.open(final) as one, Image.open(shown) as other:
        assert one.tobytes() == other.tobytes()
    assert not (out / PARTNERS / "full" / "bowl-from-above--final.jpg").exists()


def test_what_is_not_shown_any_more_does_not_stay_in_the_partner_s_folder(job: Path) -> None:
    folder = job.parent / "out" / PARTNERS
    (folder / "whole" / "of-somebody.jpg").write_bytes(b"not ours")
    (folder / "previews" / "bread--proof.jpg").write_bytes(b"changed by hand")
    change(job, '["partner/*", "feed/square"]', '["feed/square"]')
    assert run("sheet", job, "--for", "partner") == 0
    left = {str(file.relative_to(folder)) for file in files_below(folder)}
    assert left == linked(folder / "index.html") | {"index.html", "whole/of-somebody.jpg"}
    assert not [name for name in left if "bread" in name]
    aside = job.parent / "out/set-aside" / PARTNERS / "previews/bread--proof.jpg"
    assert aside.read_bytes() == b"changed by hand"


def test_an_outlet_s_sheet_is_not_taken_for_something_left_over(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["export", str(job), "--workers", "1"]) == 0
    said = capsys.readouterr().out
    assert "no longer in the job" not in said
    assert "0 files rendered" in said


# --- rounds ----------------------------------------------------------------------------------------------------------


def test_the_next_round_shows_what_was_asked_and_two_prints_side_by_side(job: Path) -> None:
    out = job.parent / "out"
    asked = {"bowl-from-above": ("change", "Could the spoon be out?"), "bread": ("approve", "")}
    assert run("reply", job, write_reply(out / PARTNERS / "index.html", job.parent / "reply.json", asked)) == 0
    draw_frame(job.parent / "inner-drawer" / "DSC04711.jpg", 5)
    assert run("export", job) == 0
    for arguments, place in (((), "sheet/index.html"), (("--for", "partner"), f"{PARTNERS}/index.html")):
        assert run("sheet", job, *arguments) == 0
        bowl, bread = articles(page(out / place))[:2]
        said = words(with_class(bowl, "earlier")[0])
        assert "Change, Could the spoon be out? (Mara Feldt, 25 November 2026)" in said
        assert "The picture has changed since." in said
        # Her sheet shows of the bread what the partner never saw: there the answer to all of it does not hold.
        holds = place != "sheet/index.html"
        since = "The picture is the same, so this holds." if holds else "Not every picture here is one that"
        assert since in words(with_class(bread, "earlier")[0])
        carried = {"bread": {"verdict": "approve", "note": "", "spots": []}} if holds else {}
        assert round_of(out / place)["carried"] == carried
        [pair] = with_class(bowl, "pair")[:1]
        before, now = [(out / place).parent / image.get("src", "") for image in pair.iter("img")]
        assert before.read_bytes() != now.read_bytes()
        assert len(with_class(pair, "spot")) == 2  # a box and a point, as they were drawn
    assert round_of(out / PARTNERS / "index.html")["number"] == 2
    assert before.is_relative_to(out / PARTNERS)
    with Image.open(before) as marked, Image.open(next((out / "sheet/earlier").glob(before.name))) as kept:
        assert marked.size == (800, 533)
        plain = kept.convert("L").resize(marked.size)
        shown = marked.convert("L")
        different = sum(abs(a - b) for a, b in zip(plain.tobytes(), shown.tobytes(), strict=True))
        assert different / (800 * 533) > 5  # the partner sees no whole frame without a mark


# --- one file --------------------------------------------------------------------------------------------------------


def test_single_form_is_one_file_with_its_pictures_inside(job: Path) -> None:
    out = job.parent / "out"
    for arguments, place, count in (
        ((), "sheet/soup.single.html", 4 + 11),
        (("--for", "partner"), "sheet/for-partner.single.html", 3 + 5),
    ):
        assert run("sheet", job, "--single", *arguments) == 0
        file = out / place
        assert file.stat().st_size < MOST_SINGLE_BYTES
        shown = page(file)
        assert linked(file) == set()
        images = list(shown.iter("img"))
        assert len(images) == count
        for image in images:
            data = image.get("src", "").removeprefix("data:image/jpeg;base64,")
            with Image.open(io.BytesIO(base64.b64decode(data, validate=True))) as picture:
                assert picture.size == (int(image.get("width", "")), int(image.get("height", "")))
                assert max(picture.size) <= 800
        assert {one.tag for one in with_class(shown, "open")} == {"button"}
        assert round_of(file)["single"] is True
    assert round_of(out / "sheet/soup.single.html")["round"] == round_of(out / "sheet/index.html")["round"]


def test_more_frames_than_one_file_holds_are_refused_before_anything_is_made(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    names = tuple(f"frame-{number}.jpg" for number in range(MOST_SINGLE_FRAMES + 1))
    job = write_job(tmp_path, HEAD + "".join(FRAME.replace("bowl.jpg", name) for name in names), names)
    assert run("sheet", job, "--single") == 2
    said = capsys.readouterr().err
    assert "--single: this sheet would hold 41 frames; at most 40 go into one file" in said
    assert "send the folder sheet/ instead" in said
    assert "nothing was written" in said
    assert not (tmp_path / "out").exists()


def test_a_file_too_large_to_mail_is_not_written(
    job: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pipeline.deliver.sheet.write.MOST_SINGLE_BYTES", 100_000)
    assert run("sheet", job, "--single", "--for", "partner") == 1
    said = capsys.readouterr().err
    assert re.search(r"--single: this sheet would hold 0\.\d MB; at most 0 MB go into one file", said)
    assert "send the folder sheet/for-partner/ instead" in said
    assert not (job.parent / "out/sheet/for-partner.single.html").exists()


def test_an_outlet_that_is_not_there_is_named_with_the_nearest(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("sheet", job, "--for", "partnr", "--out", job.parent / "new") == 2
    said = capsys.readouterr().err
    assert (
        "--for: this job makes nothing for an outlet 'partnr'; it is one of blog, feed, partner, rival-quarterly"
        in said
    )
    assert "did you mean 'partner'?" in said
    assert not (job.parent / "new").exists()


def test_an_outlet_whose_renditions_are_all_refused_is_said_to_have_nothing_to_show(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    change(job, '"rival-quarterly/*"', '"rival-quarterly/poster"')
    change(job, '"rival-quarterly/cover-star"', '"rival-quarterly/poster"')
    assert run("sheet", job, "--for", "rival-quarterly") == 2
    assert "every rendition of this job for the outlet 'rival-quarterly' is refused" in capsys.readouterr().err


# --- 100 per cent ----------------------------------------------------------------------------------------------------


def test_what_no_browser_shows_has_a_jpeg_of_the_same_size(job: Path) -> None:
    out = job.parent / "out"
    [tiff] = (out / "rival-quarterly").glob("bowl-*.tif")
    view = out / "sheet/full/bowl-from-above--rival-quarterly--cover-star.jpg"
    with Image.open(tiff) as one, Image.open(view) as other:
        assert one.size == other.size
        assert (one.format, other.format) == ("TIFF", "JPEG")
    card = card_of(out / "sheet/index.html", "rival-quarterly/cover-star")
    opener = next(one for one in with_class(card, "open"))
    assert opener.get("href") == "full/bowl-from-above--rival-quarterly--cover-star.jpg"


def test_the_sheet_verb_makes_no_full_size_and_says_so(job: Path) -> None:
    assert run("sheet", job, "--out", job.parent / "new") == 0
    made = {str(file.relative_to(job.parent / "new")) for file in files_below(job.parent / "new")}
    assert not [name for name in made if "/full/" in name or name.startswith("partner/")]
    shown = page(job.parent / "new/sheet/index.html")
    assert {link.split("/")[0] for link in linked(job.parent / "new/sheet/index.html")} == {"previews"}
    assert "not yet" in words(next(shown.iter("main")))
