"""The table of ICC profiles in a job: what is taken, and one clear sentence for whatever is not."""

from __future__ import annotations

import errno
import os
import pathlib
from typing import TYPE_CHECKING, Any

import pytest

from pipeline.job.icc_profiles import MOST_BYTES
from pipeline.job.read import read_job
from tests.light.foreign_profiles import grey_profile, matrix_profile
from tests.light.foreign_tables import PRESS, printer_profile
from tests.small_shoot import FRAME, HEAD, faults_of, frame, write_job

if TYPE_CHECKING:
    from pathlib import Path

PAPER = """
[targets."blog/step"]
colour = "{colour}"
formats = {formats}
{more}
"""
TABLE = """
[icc_profiles]
our-press = "profiles/press.icc"
"""
PERCEPTUAL = 'the profile has tables for that: write intent = "perceptual"'
OURS = "srgb, display-p3, adobe-rgb, grey"


def job(
    folder: Path,
    *,
    table: str = TABLE,
    profile: bytes = PRESS,
    colour: str = "our-press",
    formats: str = '["tiff"]',
    more: str = "",
) -> Path:
    (folder / "profiles").mkdir(exist_ok=True)
    (folder / "profiles" / "press.icc").write_bytes(profile)
    return write_job(folder, HEAD + PAPER.format(colour=colour, formats=formats, more=more) + table + FRAME)


def test_a_named_profile_is_taken_whole_and_known_as_a_file_of_the_job(tmp_path: Path) -> None:
    read = read_job(job(tmp_path))
    assert read.icc_profiles == (("our-press", PRESS),)
    assert tmp_path / "profiles/press.icc" in read.beside
    assert read.frames[0].requests[0].target.colour == "our-press"


def test_a_job_names_none_as_a_rule(tmp_path: Path) -> None:
    assert read_job(write_job(tmp_path)).icc_profiles == ()


@pytest.mark.parametrize(
    ("profile", "formats", "more"),
    [
        (PRESS, '["tiff", "jpeg"]', "ink_limit = 300.0"),
        (PRESS, '["jpeg"]', 'intent = "perceptual"'),
        (printer_profile(), '["jpeg", "png", "tiff", "webp", "avif"]', ""),
        (matrix_profile("sRGB"), '["webp"]', 'gamut = "soft"'),
        (grey_profile(2.2), '["jpeg", "png", "tiff"]', ""),
    ],
    ids=["CMYK", "CMYK, perceptual", "RGB of tables", "RGB", "grey"],
)
def test_what_each_kind_can_do(profile: bytes, formats: str, more: str, tmp_path: Path) -> None:
    assert faults_of(job(tmp_path, profile=profile, formats=formats, more=more)) == []


@pytest.mark.parametrize(
    ("profile", "formats", "more", "told"),
    [
        (PRESS, '["webp", "tiff", "png"]', "",
         "formats has webp and png, and its colour is CMYK; CMYK goes into jpeg and tiff only"),
        (grey_profile(2.2), '["avif"]', "",
         "formats has avif, and its colour is grey; grey goes into jpeg, png and tiff only"),
        (printer_profile(), '["jpeg"]', "ink_limit = 300.0",
         "there is an ink_limit, and its colour is RGB; only CMYK lays ink on paper"),
        (PRESS, '["tiff"]', 'gamut = "soft"',
         f'gamut is "soft", which is for RGB by primaries, and its colour is CMYK; {PERCEPTUAL}'),
        (printer_profile(), '["tiff"]', 'gamut = "soft"',
         f'gamut is "soft", which is for RGB by primaries, and its colour is RGB; {PERCEPTUAL}'),
    ],
)  # fmt: skip
def test_what_it_cannot_is_told_before_anything_is_made(
    profile: bytes, formats: str, more: str, told: str, tmp_path: Path
) -> None:
    found = faults_of(job(tmp_path, profile=profile, formats=formats, more=more))
    assert found == [f'job.toml: targets."blog/step": {told}']


def test_an_unknown_name_is_told_with_the_nearest(tmp_path: Path) -> None:
    where, own = 'job.toml: targets."blog/step": colour', "name a profile of your own in [icc_profiles]"
    (told,) = faults_of(job(tmp_path, colour="our-pres"))
    assert told == (
        f"{where}: no colour is called 'our-pres'; the colours are {OURS}, our-press; {own}; did you mean 'our-press'?"
    )
    (told,) = faults_of(job(tmp_path, colour="sgrb", table=""))
    assert told == f"{where}: no colour is called 'sgrb'; the colours are {OURS}; {own}; did you mean 'srgb'?"


@pytest.mark.parametrize("name", OURS.split(", "))
def test_our_own_names_are_taken(name: str, tmp_path: Path) -> None:
    table = f'\n[icc_profiles]\n{name} = "profiles/press.icc"\n'
    assert faults_of(job(tmp_path, table=table, colour="srgb")) == [
        f"job.toml: icc_profiles: {name}: '{name}' is a colour of plateline's own; give the profile another name"
    ]


ASK = "ask the printer for the ICC profile of the press and paper"
WANTED = "name an ICC profile (.icc), as seen from the job file's folder"


@pytest.mark.parametrize(
    ("file", "told"),
    [
        ("profiles/pres.icc", f"there is no such file; {WANTED}; did you mean 'press.icc'?"),
        ("elsewhere/press.icc", f"there is no such file; {WANTED}"),
        ("profiles", f"this is a folder; {WANTED}"),
        ("profiles/large.icc", f"it is larger than 6 MB; no profile of a press or screen is; {WANTED}"),
        ("bowl.jpg", f"it cannot be what pictures are written in: it is no ICC profile; {ASK}"),
    ],
)  # fmt: skip
def test_a_file_that_is_none(file: str, told: str, tmp_path: Path) -> None:
    path = job(tmp_path, table=f'\n[icc_profiles]\nour-press = "{file}"\n')
    with (tmp_path / "profiles/large.icc").open("wb") as large:
        large.truncate(MOST_BYTES + 1)
    assert faults_of(path) == [f"job.toml: icc_profiles: our-press {file}: {told}"]


def test_a_name_that_no_file_can_have(tmp_path: Path) -> None:
    (told,) = faults_of(job(tmp_path, table='\n[icc_profiles]\nour-press = "a\\u0000b"\n'))
    assert "control character U+0000" in told


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, opened = job(tmp_path), pathlib.Path.open

    def refusing(file: Path, mode: str = "r", **how: Any) -> object:  # noqa: ANN401 (as open has it)
        # The tests may run as root, who may read everything.
        if file.suffix == ".icc":
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        return opened(file, mode, **how)

    monkeypatch.setattr(pathlib.Path, "open", refusing)
    assert faults_of(path) == [
        f"job.toml: icc_profiles: our-press profiles/press.icc: it cannot be read (permission denied); {WANTED}"
    ]


def test_a_profile_that_only_leads_away_from_its_device(tmp_path: Path) -> None:
    (told,) = faults_of(job(tmp_path, profile=PRESS[:12] + b"scnr" + PRESS[16:]))
    assert "it describes a scanner or camera, not a screen, a printer or a press" in told


def test_a_profile_that_is_cut_short(tmp_path: Path) -> None:
    (told,) = faults_of(job(tmp_path, profile=PRESS[:-1]))
    assert f"it is cut short: {len(PRESS) - 1} of its {len(PRESS)} bytes are there; copy it once more" in told


def test_what_follows_a_profile_is_left_out(tmp_path: Path) -> None:
    assert read_job(job(tmp_path, profile=PRESS + bytes(999))).icc_profiles == (("our-press", PRESS),)


def test_tables_that_are_broken_for_the_intent_asked_for(tmp_path: Path) -> None:
    count = int.from_bytes(PRESS[128:132], "big")
    rows = {PRESS[at : at + 4]: at for at in range(132, 132 + 12 * count, 12)}
    place = rows[b"B2A0"] + 4  # the perceptual table becomes the description
    desc = PRESS[rows[b"desc"] + 4 : rows[b"desc"] + 12]
    broken = PRESS[:place] + desc + PRESS[place + 8 :]
    assert faults_of(job(tmp_path, profile=broken)) == []
    (told,) = faults_of(job(tmp_path, profile=broken, more='intent = "perceptual"'))
    assert 'targets."blog/step": its profile has no sound tables for intent = "perceptual"' in told
    assert told.endswith("leave intent out")


def test_the_colour_of_a_target_that_no_frame_goes_to_is_not_asked_for(tmp_path: Path) -> None:
    text = HEAD + '\n[targets."blog/hero"]\ncolour = "some-press"\n' + FRAME
    assert faults_of(write_job(tmp_path, text)) == []


def test_two_frames_of_one_target_have_one_fault(tmp_path: Path) -> None:
    frame(tmp_path / "spoon.jpg")
    path = job(tmp_path, colour="our-pres")
    path.write_text(path.read_text() + FRAME.replace("bowl", "spoon"))
    assert len(faults_of(path)) == 1


@pytest.mark.parametrize("table", ['icc_profiles = "press.icc"\n', "[icc_profiles]\nour-press = 5\n"])
def test_a_table_that_is_none(table: str, tmp_path: Path) -> None:
    text = f"{table}{HEAD}" if table.startswith("icc") else f"{HEAD}\n{table}"
    assert len(faults_of(write_job(tmp_path, text + FRAME))) == 1
