"""A small shoot that is really exported: made frames, four outlets, and words that must not go from one to another."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import piexif
from PIL import Image, ImageDraw

from pipeline.cli import main

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

# Everything of hers, and of another outlet: none of it may be in what the partner gets.
PRIVATE = {
    "folder": "inner-drawer",
    "frame's file": "DSC04711",
    "job file": "job-of-my-own",
    "note": "the stylist was late",
    "other outlet": "rival-quarterly",
    "other target": "cover-star",
    "other about": "For the rival of the partner",
    "other outlet's file": "sunday",
    "camera": "Halden Optik",
    "lens": "HO 85 mm",
    "serial": "SERIAL-4711",
    "owner": "Ines Privately",
}
RIVAL = """
outlet = "rival-quarterly"
about = "A magazine"
name = "{frame}-sunday-{target}-{width}"
[targets.cover-star]
about = "For the rival of the partner"
size_mm = [90, 60]
ppi = 300
ppi_floor = 200
too_small = "refuse"
keep_miss = "caution"
formats = ["tiff"]
sharpen = { medium = "paper" }
metadata = "public"
[targets.poster]
about = "For the rival of the partner, large"
size_mm = [420, 594]
ppi = 300
ppi_floor = 240
too_small = "refuse"
keep_miss = "caution"
formats = ["tiff"]
sharpen = { medium = "paper" }
metadata = "public"
"""
HEAD = """
profiles = ["blog", "feed", "partner", "rival-quarterly"]
profiles_folder = "my-profiles"

[shoot]
title = "Tomato soup"
slug = "soup"
date = 2026-09-12

[credit]
creator = "Ines Falkenrath"
credit_line = "Ines Falkenrath / larder-and-light.example"
copyright = "© 2026 Ines Falkenrath"
licence_url = "https://larder-and-light.example/licence"
usage_terms = "With the credit line"
contact = { email = "pictures@larder-and-light.example" }

[sponsor]
name = "Tidewater Beans"
disclosure = "Advertisement."
"""
FRAME = """
[[frames]]
file = "inner-drawer/{file}"
slug = "{slug}"
view = "{view}"
subject = [0.46, 0.55]
keep = [0.2, 0.2, 0.8, 0.85]
alt = "{alt}"
caption = "{caption}"
note = "the stylist was late"
targets = {targets}
"""
FRAMES = (
    (
        "DSC04711.jpg",
        "bowl-from-above",
        "overhead",
        ["blog/step", "feed/vertical", "feed/avatar", "partner/*", "rival-quarterly/*"],
    ),
    ("DSC04711-b.jpg", "bread", "straight-on", ["partner/*", "feed/square"]),
    ("DSC04711-c.jpg", "beans", "straight-on", ["partner/proof"]),
    ("DSC04711-d.jpg", "linen", "overhead", ["rival-quarterly/cover-star"]),
)


def write_shoot(folder: Path, *, title: str = "Tomato soup", alt: str = "A bowl of soup", caption: str = "Hot") -> Path:
    """Write a job of four frames of 960 x 640 pixels, three of them for the partner; return the job file."""
    for number, (name, *_) in enumerate(FRAMES):
        draw_frame(folder / "inner-drawer" / name, number)
    (folder / "my-profiles").mkdir(exist_ok=True)
    (folder / "my-profiles" / "rival-quarterly.toml").write_text(RIVAL, encoding="utf-8")
    frames = "".join(
        FRAME.format(
            file=name,
            slug=slug,
            view=view,
            targets=json.dumps(targets),
            alt=_toml(f"{alt} {slug}"),
            caption=_toml(caption),
        )
        for name, slug, view, targets in FRAMES
    )
    job = folder / "job-of-my-own.toml"
    job.write_text(HEAD.replace('"Tomato soup"', f'"{_toml(title)}"') + frames, encoding="utf-8")
    return job


def draw_frame(path: Path, number: int, size: tuple[int, int] = (960, 640)) -> None:
    """Save a made picture with shapes in it, and everything private in its Exif."""
    path.parent.mkdir(parents=True, exist_ok=True)
    across = Image.linear_gradient("L").rotate(90).resize(size)
    image = Image.merge("RGB", (across, across.transpose(Image.Transpose.FLIP_LEFT_RIGHT), across.rotate(180)))
    pen = ImageDraw.Draw(image)
    pen.ellipse(
        (300 + 40 * number, 200, 1200, 880),
        fill=(200 - 30 * number, 60 + 40 * number, 40),
        outline=(250, 240, 230),
        width=9,
    )
    for stripe in range(0, size[0], 60):
        pen.line((stripe, 0, stripe + 30 * number, 120), fill=(20, 20, 20), width=5)
    exif = {
        "0th": {piexif.ImageIFD.Make: b"Halden Optik", piexif.ImageIFD.Model: b"HO-7"},
        "Exif": {
            piexif.ExifIFD.LensModel: b"HO 85 mm",
            piexif.ExifIFD.BodySerialNumber: b"SERIAL-4711",
            piexif.ExifIFD.CameraOwnerName: b"Ines Privately",
            piexif.ExifIFD.FNumber: (8, 1),
            piexif.ExifIFD.ISOSpeedRatings: 200,
        },
        "GPS": {piexif.GPSIFD.GPSLatitudeRef: b"N", piexif.GPSIFD.GPSLatitude: ((45, 1), (7, 1), (1234, 100))},
    }
    image.save(path, "JPEG", quality=92, exif=piexif.dump(exif))


def _toml(text: str) -> str:
    return json.dumps(text, ensure_ascii=True)[1:-1]


def run(*arguments: object) -> int:
    """Run the command as it is typed, in this process alone; return its exit code."""
    alone = ("--workers", 1, "--quiet") if arguments[0] in {"export", "sheet"} else ()
    return main([str(one) for one in (*arguments, *alone)])


def round_of(page: Path) -> dict[str, Any]:
    """Return the block of JSON of a written sheet."""
    text = page.read_text(encoding="utf-8").partition('<script type="application/json" id="round">')[2]
    data: dict[str, Any] = json.loads(text.partition("</script>")[0])
    return data


def write_reply(page: Path, file: Path, verdicts: dict[str, tuple[str, str]], reviewer: str = "Mara Feldt") -> Path:
    """Write a reply to a sheet: verdict and note by frame slug, the others open."""
    data = round_of(page)
    frames = []
    for one in data["frames"]:
        verdict, note = verdicts.get(one["frame"], (None, ""))
        renditions = [
            {"rendition": own["rendition"], "key": own["key"], "verdict": None, "note": "", "spots": []}
            for own in one["renditions"]
        ]
        spots = [{"box": [0.31, 0.3, 0.62, 0.8]}, {"point": [0.5, 0.5]}] if verdict == "change" else []
        frames.append(
            {"frame": one["frame"], "verdict": verdict, "note": note, "spots": spots, "renditions": renditions}
        )
    reply = {
        "plateline_reply": 1,
        "round": data["round"],
        "shoot": data["shoot"],
        "outlet": data["outlet"],
        "reviewer": reviewer,
        "date": "2026-11-25",
        "frames": frames,
    }
    file.write_text(json.dumps(reply), encoding="utf-8")
    return file


def files_below(folder: Path) -> Iterable[Path]:
    """Return every file below a folder."""
    return sorted(path for path in folder.rglob("*") if path.is_file())
