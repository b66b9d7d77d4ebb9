from __future__ import annotations

import io
import os
import re
import tomllib
from dataclasses import replace
from pathlib import Path

import piexif
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from pipeline.cli import main
from pipeline.deliver.new import write_new_job
from pipeline.faults import RequestRefused
from pipeline.job.read import read_job
from pipeline.light.box import Region
from pipeline.light.overlap import overlap
from pipeline.plan.facts import PictureFacts, Translation
from pipeline.render.containers.embed import embed
from pipeline.render.xmp import xmp_packet
from tests.frames.inspection.subjects import composite
from tests.render.containers import pictures
from tests.small_shoot import frame


def refusal(folder: Path) -> list[str]:
    with pytest.raises(RequestRefused) as refused:
        write_new_job(folder)
    return [str(fault) for fault in refused.value.faults]


def test_the_written_job_names_every_frame_with_its_size(tmp_path: Path) -> None:
    folder = tmp_path / "tomato-soup_2026"
    frame(folder / "IMG 1.jpg")
    frame(folder / "selects" / "Bowl.png", (300, 200))
    job, left_out = write_new_job(folder)
    text = job.read_text(encoding="utf-8")
    assert (folder / "job.toml", ()) == (job, left_out)
    assert "# 600 x 400, jpeg\n" in text
    assert "# 300 x 200, png\n" in text
    written = read_job(job)
    assert written.shoot.title == "Tomato soup 2026"
    assert [(asked.entry.file, asked.slug) for asked in written.frames] == [
        ("IMG 1.jpg", "img-1"),
        ("selects/Bowl.png", "bowl"),
    ]
    assert [[one.name for one in asked.requests] for asked in written.frames] == [["step"], ["step"]]


def test_the_written_job_exports(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    frame(tmp_path / "bowl.jpg")
    assert main(["new", str(tmp_path)]) == 0
    assert main(["export", str(tmp_path / "job.toml"), "--workers", "1", "--quiet"]) == 0
    out = capsys.readouterr()
    assert out.err == ""
    made = sorted(path.suffix for path in (tmp_path / "out" / "blog").iterdir())
    assert made == [".jpg", ".jpg", ".webp", ".webp"]


def test_every_commented_key_of_the_written_job_is_right_when_it_is_uncommented(tmp_path: Path) -> None:
    frame(tmp_path / "bowl.jpg")
    job, _ = write_new_job(tmp_path)
    text = re.sub(r"(?m)^# (?=\[|\w+ = )", "", job.read_text(encoding="utf-8"))
    text = text.replace('profiles_folder = "my-profiles"', "").replace("feed/vertical", "feed/tall")
    job.write_text(text, encoding="utf-8")
    written = read_job(job)
    assert written.sponsor
    assert written.credit.model_fields_set == {
        "creator", "credit_line", "copyright", "licence_url", "acquire_url", "usage_terms",
    }  # fmt: skip
    assert written.frames[0].entry.crops[0].target == "feed/tall"


def test_the_shoots_date_is_that_of_the_earliest_frame(tmp_path: Path) -> None:
    for name, taken in (("a", b"2026:09:13 08:00:00"), ("b", b"2026:09:12 23:59:59"), ("c", b"0000:00:00 00:00:00")):
        exif = piexif.dump({"Exif": {piexif.ExifIFD.DateTimeOriginal: taken}})
        Image.new("RGB", (60, 40)).save(tmp_path / f"{name}.jpg", exif=exif)
    job, _ = write_new_job(tmp_path)
    assert str(read_job(job).shoot.date) == "2026-09-12"


SAID = PictureFacts(
    language="en", title="The bowl", description="Hot\nsoup\\ 湯", alt="A bowl", creators=("Ana", "Bo"),
    copyright="© 2026 Ana", keywords=("soup", 'be"ans'), rating=4, date_created="2026-09-11T10:24:31+02:00",
    translations=(Translation("fr", alt='Un "bol"'),),
)  # fmt: skip


def saying(path: Path, facts: PictureFacts) -> Path:
    """Save a frame that carries these facts."""
    path.write_bytes(embed(pictures.encoded("jpeg"), "jpeg", pictures.embedded(facts)))
    return path


def test_what_the_frames_say_starts_the_job(tmp_path: Path) -> None:
    saying(tmp_path / "a.jpg", SAID)
    saying(tmp_path / "b.jpg", replace(SAID, copyright="© 2026 Bo", rating=None))
    written = read_job(write_new_job(tmp_path)[0])
    entry = written.frames[0].entry
    assert (entry.title, entry.caption, entry.keywords, entry.rating) == (
        "The bowl", "Hot\nsoup\\ 湯", ("soup", 'be"ans'), 4,
    )  # fmt: skip
    assert entry.alt == {"en": "A bowl", "fr": 'Un "bol"'}
    assert written.frames[1].entry.rating is None
    assert str(written.shoot.date) == "2026-09-11"
    assert written.credit.creator == ("Ana", "Bo")
    assert written.credit.copyright is None, "the frames differ"
    text = written.file.read_text(encoding="utf-8")
    assert '# copyright = "© 2026 Ana"    # as some frames say: they keep it, unless it is said here\n' in text
    assert '# copyright = "© 2026 Bo"    # as some' in text


def test_a_credit_that_one_frame_lacks_is_a_comment(tmp_path: Path) -> None:
    saying(tmp_path / "a.jpg", SAID)
    frame(tmp_path / "b.jpg")
    written = read_job(write_new_job(tmp_path)[0])
    assert written.credit.model_fields_set == set()
    assert '# creator = ["Ana", "Bo"]    # as some frames say' in written.file.read_text(encoding="utf-8")


def test_a_contradiction_is_told_where_the_word_stands(tmp_path: Path) -> None:
    path = saying(tmp_path / "a.jpg", SAID)
    (tmp_path / "a.xmp").write_bytes(xmp_packet(replace(SAID, alt="Another\n[bowl]", translations=()), "full"))
    written = read_job(write_new_job(tmp_path)[0])
    assert written.frames[0].entry.alt == "Another\n[bowl]"
    assert (
        "# look: alt: sidecar says 'Another [bowl]', XMP says 'A bowl'; the sidecar was taken (it is the later word)\n"
        in written.file.read_text(encoding="utf-8")
    )
    assert path.exists()


ODD_NAMES = [
    'quo"te.jpg', "'single'.jpg", "sp ace.jpg", " .jpg", "back\\slash.jpg", "new\nline.jpg", "tab\t.jpg", "#hash.jpg",
    "{brace}.jpg", "%s.jpg", "ünïcödé.jpg", "u\u0308n.jpg", "熱い.jpg", "\u202ertl.jpg", "nb\u00a0sp.jpg", "UPPER.JPG",
    "no ending", "two.dots.jpg", "a" * 240 + ".jpg", "a" * 239 + "b.jpg", "x-3.jpg", "x.jpg", "x.png", "x.webp",
]  # fmt: skip


def test_odd_names_survive(tmp_path: Path) -> None:
    data = frame(tmp_path / "first.jpg", (60, 40)).read_bytes()  # too small to look at: this is about names
    for name in ODD_NAMES:
        (tmp_path / name).write_bytes(data)
    job, left_out = write_new_job(tmp_path)
    written = read_job(job)
    assert left_out == ()
    assert {asked.entry.file for asked in written.frames} == {"first.jpg", *ODD_NAMES}
    assert len({asked.slug for asked in written.frames}) == len(written.frames)


@pytest.mark.parametrize("name", ["esc\x1b[31m.jpg", "del\x7f.jpg", "bell\a.jpg", "nel\x85.jpg"])
def test_a_name_that_no_job_can_hold_is_left_out_and_told(tmp_path: Path, name: str) -> None:
    data = frame(tmp_path / "bowl.jpg").read_bytes()
    (tmp_path / name).write_bytes(data)
    job, (fault,) = write_new_job(tmp_path)
    assert str(fault).endswith(": its name holds letters that a job file cannot hold; rename it")
    assert [asked.entry.file for asked in read_job(job).frames] == ["bowl.jpg"]


def test_a_name_that_is_not_utf_8_is_left_out_and_told(tmp_path: Path) -> None:
    data = frame(tmp_path / "bowl.jpg").read_bytes()
    Path(os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9.jpg")).write_bytes(data)
    _, (fault,) = write_new_job(tmp_path)
    assert str(fault) == r"caf\udce9.jpg: its name holds letters that a job file cannot hold; rename it"


def test_pictures_that_cannot_be_read_are_left_out_and_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    frame(tmp_path / "bowl.jpg")
    (tmp_path / "text.jpg").write_text("no picture")
    (tmp_path / "empty.jpg").touch()
    assert main(["new", str(tmp_path)]) == 0
    said = capsys.readouterr()
    assert [line.partition(":")[0] for line in said.err.splitlines()] == ["empty.jpg", "text.jpg"]
    assert f"wrote {tmp_path / 'job.toml'}\n" in said.out
    assert [asked.entry.file for asked in read_job(tmp_path / "job.toml").frames] == ["bowl.jpg"]


def test_what_is_no_frame_is_passed_over_in_silence(tmp_path: Path) -> None:
    frame(tmp_path / "bowl.jpg")
    for name in (".hidden.jpg", "notes.txt", "bowl.xmp", "LIST.CSV"):
        (tmp_path / name).touch()
    (tmp_path / "folder.jpg").mkdir()
    os.mkfifo(tmp_path / "pipe.jpg")
    (tmp_path / "gone.jpg").symlink_to("nowhere")
    job, left_out = write_new_job(tmp_path)
    assert left_out == ()
    assert [asked.entry.file for asked in read_job(job).frames] == ["bowl.jpg"]


@pytest.mark.parametrize("name", ["two words", "it's", 'quo"te\n', "{0}", "\x01"])
def test_odd_names_of_the_folder_survive(tmp_path: Path, name: str) -> None:
    frame(tmp_path / name / "bowl.jpg")
    job, _ = write_new_job(tmp_path / name)
    assert read_job(job).shoot.title


def test_the_command_in_the_comment_can_be_typed(tmp_path: Path) -> None:
    frame(tmp_path / "two words" / "bowl.jpg")
    job, _ = write_new_job(tmp_path / "two words")
    assert f"`plateline check '{job}'`" in job.read_text(encoding="utf-8")


def test_a_job_file_is_never_overwritten(tmp_path: Path) -> None:
    frame(tmp_path / "bowl.jpg")
    (tmp_path / "job.toml").write_text("her work")
    assert refusal(tmp_path) == [
        f"{tmp_path}/job.toml: there is a job file already; move it away first; it is never overwritten"
    ]
    assert (tmp_path / "job.toml").read_text() == "her work"


def test_nor_is_a_link_that_leads_nowhere_yet(tmp_path: Path) -> None:
    frame(tmp_path / "bowl.jpg")
    (tmp_path / "job.toml").symlink_to("elsewhere.toml")
    assert "there is a job file already" in refusal(tmp_path)[0]
    assert (tmp_path / "job.toml").is_symlink()


def test_a_folder_without_frames(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").touch()
    (tmp_path / "text.jpg").write_text("no picture")
    said = refusal(tmp_path)
    assert said[0].startswith("text.jpg: is no picture")
    assert said[1] == (
        f"{tmp_path}: no frame is in this folder; "
        "put JPEG, TIFF, PNG, WebP, AVIF, HEIC or camera raw files in it, or in a folder 'selects' below it"
    )
    assert not (tmp_path / "job.toml").exists()


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("absent", "there is no such folder; name the folder that holds the frames"),
        ("file", "this is a file, not a folder; name the folder that holds the frames"),
        ("a" * 300, "it cannot be used (File name too long); mend the folder"),
        ("a\0b", "it cannot be used (embedded null byte); mend the folder"),
        (os.fsdecode(b"caf\xe9"), "its name is not UTF-8; rename the folder"),
    ],
)
def test_what_is_no_folder(tmp_path: Path, name: str, said: str) -> None:
    (tmp_path / "file").touch()
    (sentence,) = refusal(tmp_path / name)
    assert sentence.endswith(f": {said}")


FILE_NAMES = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="/\0"), min_size=1, max_size=20)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=30)
@given(st.lists(FILE_NAMES, max_size=3))
def test_whatever_the_frames_are_called_the_job_is_sound(tmp_path: Path, names: list[str]) -> None:
    for old in tmp_path.iterdir():
        old.unlink()
    data = frame(tmp_path / "first.jpg", (60, 40)).read_bytes()  # too small to look at: this is about names
    for name in names:
        if name not in {".", "..", "job.toml"}:
            (tmp_path / name).write_bytes(data)
    job, left_out = write_new_job(tmp_path)
    written = tomllib.loads(job.read_text(encoding="utf-8"))
    assert {entry["file"] for entry in written["frames"]} == {asked.entry.file for asked in read_job(job).frames}
    shown = {path.name for path in tmp_path.iterdir() if not path.name.startswith(".") and path != job}
    told = {fault.file for fault in left_out}
    endings = {".toml", ".txt", ".md", ".csv", ".json", ".xmp", ".html", ".pdf", ".zip"}
    passed_over = {name for name in shown if Path(name).suffix.lower() in endings}
    assert shown - passed_over == {entry["file"] for entry in written["frames"]} | told


def test_the_subject_is_where_it_was_found(tmp_path: Path) -> None:
    marked = composite(3)
    marked.picture.save(tmp_path / "flower.png")
    entry = read_job(write_new_job(tmp_path)[0]).frames[0].entry
    assert entry.subject != "auto"
    across, down = entry.subject
    assert marked.box.left <= across <= marked.box.right
    assert marked.box.top <= down <= marked.box.bottom
    assert entry.keep
    assert overlap(marked.box, Region(*entry.keep)) > 0.5
    text = (tmp_path / "job.toml").read_text(encoding="utf-8")
    assert "found by looking; check it" in text
    assert "please point" not in text


def test_where_nothing_stands_out_she_is_asked_to_point(tmp_path: Path) -> None:
    Image.new("RGB", (300, 200), (120, 120, 120)).save(tmp_path / "wall.png")
    entry = read_job(write_new_job(tmp_path)[0]).frames[0].entry
    assert (entry.subject, entry.keep) == ((0.5, 0.5), None)
    assert "please point: nothing stands out for sure" in (tmp_path / "job.toml").read_text(encoding="utf-8")


def test_a_frame_that_cannot_be_decoded_is_left_out_and_told(tmp_path: Path) -> None:
    frame(tmp_path / "bowl.jpg")
    whole = frame(tmp_path / "cut.jpg").read_bytes()
    (tmp_path / "cut.jpg").write_bytes(whole[: len(whole) // 2])
    job, left_out = write_new_job(tmp_path)
    assert [asked.entry.file for asked in read_job(job).frames] == ["bowl.jpg"]
    assert [str(fault) for fault in left_out] == [
        ("cut.jpg: is cut short: part of the picture is missing; copy it from the card again, or export it again")
    ]


def test_progress_is_told_where_there_is_a_terminal_to_tell_it_to(tmp_path: Path) -> None:
    frame(tmp_path / "bowl.jpg")
    told = io.StringIO()
    write_new_job(tmp_path, told)
    assert told.getvalue() == "1 of 1 frames: bowl.jpg\n"
