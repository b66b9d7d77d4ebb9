"""The short way against the full one: whatever is new, every file is the one that a fresh export of the job makes."""

from __future__ import annotations

import contextlib
import json
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from typing import TYPE_CHECKING, Any

import piexif
import pytest
from PIL import Image

import pipeline.deliver.recall
import pipeline.deliver.shoot
from pipeline.cli import main
from pipeline.deliver.place import alone_in
from pipeline.deliver.write import write_if_changed
from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import DISPLAY_P3
from tests.ledger.test_stamps import next_tick, written_anew
from tests.light.foreign_tables import PRESS
from tests.small_shoot import OWN_TARGET, frame

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

OWN = f"""\
outlet = "own"
about = "Ours"
[targets.small]
{OWN_TARGET.replace('["jpeg"]', '["jpeg", "webp", "png"]').replace("[100]", "[60, 100]")}
[targets.desk]
{OWN_TARGET.replace('"public"', '"full"').replace('["jpeg"]', '["jpeg", "tiff"]')}
[targets.press]
{OWN_TARGET.replace('"public"', '"full"').replace('["jpeg"]', '["jpeg", "tiff"]').replace("[100]", "[90]")}
colour = "our-press"
[targets.proof]
{OWN_TARGET.replace('"public"', '"proof"')}
[targets.kept-small]
{OWN_TARGET}
bytes_max = "60 kB"
[targets.asked]
{OWN_TARGET}
needs = "approval"
[targets.two]
about = "Two"
size_px = [120, 60]
layout = "side-by-side"
gap_px = 4
formats = ["jpeg"]
too_small = "shrink"
keep_miss = "caution"
sharpen = {{ medium = "screen" }}
metadata = "public"
"""
JOB = """\
profiles = ["own", "blog"]
profiles_folder = "profiles"
pairs = [{ pair = ["bowl", "spoon"], targets = ["own/two"], alt = "Two", caption = "Served hot" }]

[shoot]
title = "Bean <soup> & bread"
targets = ["own/small"]

[credit]
creator = "Ines Falkenrath"

[icc_profiles]
our-press = "press.icc"

[sponsor]
name = "Tidewater Beans"
disclosure = "Advertisement."

[[frames]]
file = "bowl.jpg"
subject = [0.5, 0.5]
alt = "A bowl of soup"
caption = %bowl%
targets = ["own/small", "own/desk", "own/press", "own/proof", "blog/hero", "blog/link-preview"]

[[frames]]
file = "spoon.jpg"
subject = [0.4, 0.5]
alt.en = "A wooden spoon"
alt.fr = "Une cuillère en bois"
caption = %spoon%
step = 2
targets = ["own/small", "blog/step"]

[[frames]]
file = "jar.jpg"
subject = [0.4, 0.5]
alt = { fr = "Un bocal", en = "A jar" }
caption = { fr = %jar_fr%, "en-GB" = %jar% }
step = 1
targets = ["blog/step", "own/proof"]

[[frames]]
file = "board.jpg"
subject = [0.4, 0.5]
caption = %board%
targets = ["own/kept-small"]

[[frames]]
file = "plate.jpg"
subject = [0.4, 0.5]
caption = %plate%
targets = ["own/asked", "own/small"]

[[frames]]
file = "cup.jpg"
subject = [0.6, 0.5]
"""
WORDS = {
    "bowl": "Served hot",
    "spoon": "It fits the hand",
    "board": "A board",
    "plate": "A plate",
    "jar": "In brine",
    "jar_fr": "Bon",
}
FRAMES = ("bowl", "spoon", "jar", "board", "plate", "cup")


def with_words(job: str, **words: str) -> str:
    """Return a job with captions, each as JSON writes it: a basic string of TOML as well."""
    for name, caption in (WORDS | words).items():
        job = job.replace(f"%{name}%", json.dumps(caption, ensure_ascii=False))
    return job


class Run:
    """A shoot whose exports are run: what each said, how it went, whether its files are those of a fresh one."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
        self.folder, self.job, self.out = folder, folder / "job.toml", folder / "out"
        self.cache = folder.parent / "cache" / "plateline"
        self._capsys, self._monkeypatch, self._full = capsys, monkeypatch, 0
        judge = pipeline.deliver.shoot.judge

        def judged(asked: Any) -> Any:  # noqa: ANN401 (a request, and a sound one)
            self._full += 1
            return judge(asked)

        monkeypatch.setattr("pipeline.deliver.export.judge", judged)

    def __call__(self, *words: str) -> tuple[int, str, str]:
        """Export; return code and output."""
        return self.export(self.folder, *words)

    def export(self, folder: Path, *words: str) -> tuple[int, str, str]:
        next_tick()
        self._capsys.readouterr()
        before = self._full
        code = main(["export", *words, "--workers", "1", str(folder / "job.toml")])
        self.went_full_way = self._full > before
        told = self._capsys.readouterr()
        return code, told.out.replace(str(folder), ""), told.err

    def says(self, job: str = JOB, **words: str) -> None:
        """Write the job with these captions."""
        self.job.write_text(with_words(job, **words), encoding="utf-8")

    def is_as_fresh(self) -> bool:
        """Export the job as it is now to a new folder, and hold every file and every row against it."""
        with self.elsewhere("out") as fresh:
            self.export(fresh)
        return self._agrees_with(fresh)

    def is_as_by_the_full_way(self, before: Path) -> bool:
        """Export the job as it is now over what was there before, and hold every file and every row against it."""
        with self.elsewhere("out") as other:
            shutil.copytree(before, other / "out")
            self.export(other)
        assert self.other_went_full_way
        return self._agrees_with(other)

    @contextlib.contextmanager
    def elsewhere(self, *left_out: str) -> Iterator[Path]:
        went_full_way = self.went_full_way
        other = self.folder.parent / "other"
        shutil.rmtree(other, ignore_errors=True)
        shutil.copytree(self.folder, other, ignore=lambda _, names: set(left_out) & set(names))
        with self._monkeypatch.context() as patch:
            patch.setenv("XDG_CACHE_HOME", str(other / "cache"))
            yield other
        self.other_went_full_way, self.went_full_way = self.went_full_way, went_full_way

    def _agrees_with(self, other: Path) -> bool:
        assert files_of(self.out) == files_of(other / "out")
        assert rows_of(self.out) == rows_of(other / "out")
        return True


def files_of(out: Path) -> dict[str, bytes]:
    """Return every file of an output folder but the ledger, whose pages depend on its history."""
    files = (path for path in out.rglob("*") if path.is_file() and path.name != "ledger.sqlite")
    return {path.relative_to(out).as_posix(): path.read_bytes() for path in files}


def rows_of(out: Path) -> dict[str, list[tuple[object, ...]]]:
    """Return what the ledger says of what was made and shown, without the times of files."""
    with closing(sqlite3.connect(out / "ledger.sqlite")) as base:
        base.row_factory = sqlite3.Row
        queries = {name: f"SELECT * FROM {name}" for name in ("made", "round", "shown")}  # noqa: S608 (constants)
        rows = {name: [dict(row) for row in base.execute(query)] for name, query in queries.items()}
    return {
        name: sorted(tuple(value for key, value in row.items() if key != "mtime_ns") for row in found)
        for name, found in rows.items()
    }


def told_by_the_camera(path: Path) -> None:
    """Save a frame anew with a colour profile, what a camera says, and a caption of its own."""
    words = {piexif.ImageIFD.Make: b"Halden Optik", piexif.ImageIFD.ImageDescription: b"Before the meal"}
    settings = {piexif.ExifIFD.ExposureTime: (1, 60), piexif.ExifIFD.DateTimeOriginal: b"2026:09:12 10:24:31"}
    exif = piexif.dump({"0th": words, "Exif": settings})
    Image.open(path).save(path, quality=95, icc_profile=write_matrix_profile(DISPLAY_P3), exif=exif)


@pytest.fixture(scope="module")
def exported(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a shoot that was exported once."""
    folder = tmp_path_factory.mktemp("exported")
    for name in FRAMES:
        frame(folder / f"{name}.jpg", (300, 200))
    told_by_the_camera(folder / "bowl.jpg")
    (folder / "press.icc").write_bytes(PRESS)
    (folder / "profiles").mkdir()
    (folder / "profiles" / "own.toml").write_text(OWN)
    (folder / "job.toml").write_text(with_words(JOB), encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(folder / "cache"))
        assert main(["export", "--quiet", str(folder / "job.toml")]) == 0
    shutil.rmtree(folder / "cache")
    return folder


@pytest.fixture
def run(exported: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Return a shoot that was just exported, in a cache folder of its own."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    whole = Run(shutil.copytree(exported, tmp_path / "shoot"), capsys, monkeypatch)
    assert whole()[0] == 0
    return whole


HOSTILE = (
    'Served "hot" & <b>soon</b>, in bed\nor at 1 > 0; it\'s </script> done \N{EM DASH} \U0001f372 \\u003c '
    "\ue000<1 2>\ue001"
)
CAPTIONS = ("Served cold", HOSTILE, "=1+1", "- 1", "Advertisement.", "word " * 999 + "word")


def test_a_new_caption_is_written_as_a_fresh_export_writes_it(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    before = shutil.copytree(run.out, run.folder.parent / "before")
    for words in CAPTIONS:
        run.says(bowl=words)
        with monkeypatch.context() as patch:
            patch.delattr("pipeline.frames.pixels.decode")  # no pixel is asked for
            assert run("--quiet") == (0, "", "")
        assert not run.went_full_way, words
        assert run.is_as_by_the_full_way(before)
    assert run.is_as_fresh()


def test_it_says_what_the_full_way_says(run: Run, tmp_path: Path) -> None:
    before = shutil.copytree(run.out, tmp_path / "before")
    run.says(spoon="Of olive wood")
    told = run()
    assert not run.went_full_way
    assert "of 6 frames" not in told[2]
    assert "spoon.jpg" in told[2]
    again = run()
    shutil.rmtree(run.out)
    shutil.copytree(before, run.out)
    assert run() == told
    assert run.went_full_way
    assert run() == again


def test_captions_in_languages_are_written_each_in_its_places(run: Run) -> None:
    for words in ({"jar_fr": "Mange-les <vite>"}, {"jar": "Eat them"}, {"jar": "A", "jar_fr": "B & C"}):
        run.says(**words)
        code, _, err = run()
        assert code == 0, err
        assert not run.went_full_way, words
        assert run.is_as_fresh()


def test_several_captions_are_one_export_and_the_next_begins_from_it(run: Run) -> None:
    run.says(bowl="Served cold", spoon="Of olive wood")
    run()
    assert not run.went_full_way
    assert run.is_as_fresh()
    run.says(spoon="Of olive wood, oiled")
    run()
    assert not run.went_full_way
    assert run.is_as_fresh()
    run.says(JOB.replace("[shoot]", "# new\n[shoot]"), spoon="Of olive wood, oiled")  # nothing of it is an order
    assert "0 files rendered" in run()[1]
    assert not run.went_full_way


IN_TABLE = JOB.replace("profiles_folder", 'captions = "captions.csv"\nprofiles_folder')
for name in ("bowl", "spoon"):
    IN_TABLE = IN_TABLE.replace(f"caption = %{name}%\n", "")
TABLE = (
    "File;Frame;Caption;alt;caption.fr\r\n;bowl;Served hot;;Servi chaud\r\n"
    "spoon.jpg;;It fits the hand;;\r\ncup.jpg;;;A cup;\r\n"
)


def with_a_table(run: Run, job: str = IN_TABLE, table: str = TABLE) -> None:
    (run.folder / "captions.csv").write_text(table, encoding="utf-8-sig", newline="")
    run.says(job)


def test_a_caption_in_a_table_is_written_as_a_fresh_export_writes_it(run: Run) -> None:
    with_a_table(run)
    run()
    assert run.went_full_way
    table = TABLE
    for old, new in (
        ("Served hot", '"Served ""cold""; <soon>\nor later"'),
        ("Servi chaud", "'=Servi froid"),
        ("It fits the hand", " Of olive wood, & oiled "),
    ):
        table = table.replace(old, new)
        with_a_table(run, table=table)
        assert run()[0] == 0
        assert not run.went_full_way, new
    assert run.is_as_fresh()
    run.says(IN_TABLE, jar="In salt")
    run()
    assert not run.went_full_way
    assert run.is_as_fresh()


def test_of_rows_that_say_the_same_the_right_one_counts(run: Run) -> None:
    alike = TABLE.replace("Served hot;;Servi chaud", "It fits the hand;;")
    with_a_table(run, table=alike)
    run()
    with_a_table(run, table=alike.replace("spoon.jpg;;It fits the hand", "spoon.jpg;;Of olive wood"))
    run()
    assert not run.went_full_way
    assert run.is_as_fresh()


@pytest.mark.parametrize(
    "table",
    [
        TABLE.replace("A cup", "The cup"),
        TABLE.replace("Served hot", ""),
        TABLE.replace("cup.jpg;;;A cup;", "cup.jpg;;Hot;A cup;"),
        TABLE.replace("spoon.jpg", "jug.jpg"),
        TABLE.replace("caption.fr", "caption.de"),
        TABLE.replace("Served hot", "bell \a"),
        TABLE.replace("Served hot", '"Served'),
        TABLE.replace("Served hot", "A bowl of soup"),
        TABLE.replace("Served hot", "..."),
        f"{TABLE}plate.jpg;;A flat plate;;",
    ],
)
def test_whatever_else_is_new_in_a_table_goes_the_full_way(run: Run, table: str) -> None:
    with_a_table(run)
    run()
    before = shutil.copytree(run.out, run.folder.parent / "before")
    with_a_table(run, table=table)
    told = run()
    assert run.went_full_way
    with run.elsewhere("out") as other:
        shutil.copytree(before, other / "out")
        assert run.export(other) == told
    assert files_of(run.out) == files_of(other / "out")


def test_a_caption_said_in_two_places_goes_the_full_way(run: Run) -> None:
    job = IN_TABLE.replace('alt = "A bowl of soup"', 'alt = "A bowl of soup"\ncaption = %bowl%')
    with_a_table(run, job)
    assert run()[0] == 0
    with_a_table(run, job, TABLE.replace("Served hot", "Served cold"))
    run.says(job, bowl="Served cold")
    assert run()[0] == 0
    assert run.went_full_way
    assert run.is_as_fresh()


OTHERWISE: dict[str, Callable[[Run], object]] = {
    "a caption that repeats the alt text": lambda run: run.says(bowl="A bowl of soup"),
    "a caption with space around it": lambda run: run.says(bowl=" Served hot"),
    "a caption beside a limit of bytes": lambda run: run.says(board="A long board"),
    "a caption of what waits for approval": lambda run: run.says(plate="A flat plate"),
    "a caption that is taken away": lambda run: run.says(JOB.replace("caption = %spoon%", "")),
    "a caption where none was": lambda run: run.says(f'{JOB}caption = "A cup"'),
    "a caption in two languages": lambda run: run.says(JOB.replace("%spoon%", '{ en = "It fits", fr = "Elle va" }')),
    "a caption in another language": lambda run: run.says(JOB.replace("{ fr = %jar", "{ de = %jar")),
    "captions in another order": lambda run: run.says(
        JOB.replace('{ fr = %jar_fr%, "en-GB" = %jar% }', '{ "en-GB" = %jar%, fr = %jar_fr% }')
    ),
    "a caption and another word": lambda run: run.says(JOB.replace("A wooden", "The wooden"), bowl="Served cold"),
    "an alt text": lambda run: run.says(JOB.replace("A wooden spoon", "The wooden spoon")),
    "a title": lambda run: run.says(JOB.replace("bread", "butter")),
    "a disclosure": lambda run: run.says(JOB.replace("Advertisement.", "Paid for.")),
    "a frame less": lambda run: run.says(JOB.rpartition("[[frames]]")[0]),
    "a frame more": lambda run: run.says(
        f'{JOB}\n[[frames]]\nfile = "{frame(run.folder / "jug.jpg").name}"\nsubject = [0, 0]'
    ),
    "a target's setting": lambda run: (run.folder / "profiles" / "own.toml").write_text(OWN.replace("[60,", "[50,")),
    "a table of captions": with_a_table,
    "a frame": lambda run: frame(run.folder / "cup.jpg", (320, 200)),
}


@pytest.mark.parametrize("name", OTHERWISE)
def test_whatever_else_is_new_goes_the_full_way(run: Run, name: str) -> None:
    run.says(bowl="Served cold")
    run()
    assert not run.went_full_way
    before = shutil.copytree(run.out, run.folder.parent / "before")
    OTHERWISE[name](run)
    run()
    assert run.went_full_way
    assert run.is_as_by_the_full_way(before)


def test_a_caption_that_no_file_can_carry_is_a_fault_as_ever(run: Run) -> None:
    before = files_of(run.out)
    for wrong in ("", "   ", "bell \a", "x" * 65_537):
        run.says(bowl=wrong)
        code, out, err = run()
        assert (code, out) == (2, "")
        assert "frames[1] bowl.jpg: caption" in err
    assert files_of(run.out) == before


def test_a_job_that_is_too_long_is_a_fault_as_ever(run: Run) -> None:
    run.says(JOB.replace("[shoot]", f"#{'x' * 4_000_000}\n[shoot]"))
    code, out, err = run()
    assert (code, out) == (2, "")
    assert "larger than 4 MB" in err


PICTURE = "own/bean-soup-bread-bowl-small-100.jpg"


def linked(path: Path) -> None:
    path.rename(path.with_name("kept.jpg"))
    path.symlink_to("kept.jpg")


OURS: dict[str, Callable[[Path], object]] = {
    "a picture touched": lambda out: (out / PICTURE).touch(),
    "a picture changed by hand": lambda out: (out / PICTURE).write_bytes(b"hers"),
    "a picture removed": lambda out: (out / PICTURE).unlink(),
    "a picture that is a link now": lambda out: linked(out / PICTURE),
    "a picture written anew with its size and time": lambda out: written_anew(out / PICTURE),
    "the manifest changed": lambda out: written_anew(out / "manifest.json"),
    "the sheet changed": lambda out: written_anew(out / "sheet" / "index.html"),
    "the table of captions removed": lambda out: (out / "web" / "captions.csv").unlink(),
    "the ledger removed": lambda out: (out / "ledger.sqlite").unlink(),
    "the lock removed": lambda out: (out / ".exporting").unlink(),
    "a file of somebody else's": lambda out: (out / "own" / "strange.jpg").touch(),
    "a frame touched": lambda out: (out.parent / "bowl.jpg").touch(),
    "a sidecar": lambda out: (out.parent / "bowl.xmp").write_text("damaged"),
    "a reply": lambda out: (out.parent / "replies").mkdir(),
    "a profile": lambda out: (out.parent / "profiles" / "own.toml").touch(),
}


@pytest.mark.parametrize("name", OURS)
def test_whatever_is_not_as_it_was_left_goes_the_full_way(run: Run, name: str) -> None:
    run.says(bowl="Served hot, at once")
    OURS[name](run.out)
    before = shutil.copytree(run.out, run.folder.parent / "before", symlinks=True)
    code, out, err = run()
    assert run.went_full_way
    with run.elsewhere("out") as other:
        shutil.copytree(before, other / "out", symlinks=True)
        assert run.export(other) == (code, out, err)
    assert files_of(run.out) == files_of(other / "out")


@pytest.mark.parametrize("place", ["manifest.json", "sheet/index.html", "web/captions.csv", "web/en/head.html"])
def test_a_page_of_another_run_is_not_written_on(run: Run, monkeypatch: pytest.MonkeyPatch, place: str) -> None:
    monkeypatch.setattr("pipeline.deliver.reworded.run.still", lambda *_, **__: True)  # as if no stamp told of it
    page = run.out / place
    page.write_bytes(page.read_bytes().replace(b"spoon", b"ladle"))
    run.says(bowl="Served cold")
    run()
    assert run.went_full_way
    assert run.is_as_fresh()


def test_names_kept_sheets_and_replies_stay_as_the_full_way_leaves_them(run: Run) -> None:
    run.says(JOB.replace("bread", "butter"))
    run()  # the names delivered before stay
    job = JOB.replace("bread", "butter")
    assert main(["sheet", "--for", "own", "--workers", "1", "--quiet", str(run.job)]) == 0
    run()
    assert run.went_full_way
    before = shutil.copytree(run.out, run.folder.parent / "before")
    run.says(job, spoon="Of olive wood")
    assert "kept the name delivered before" in run()[1]
    assert not run.went_full_way
    assert run.is_as_by_the_full_way(before)


def test_what_cannot_be_written_is_told_by_the_full_way(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    failed: list[str] = []

    def once(folder: Path, relative: str, data: bytes) -> bool:
        if relative.startswith("web/") and not failed:
            failed.append(relative)
            raise OSError(28, "No space left on device")
        return write_if_changed(folder, relative, data)

    monkeypatch.setattr("pipeline.deliver.reworded.run.write_if_changed", once)
    run.says(bowl="Served cold")
    assert run()[0] == 0
    assert run.went_full_way
    assert failed
    assert run.is_as_fresh()
    monkeypatch.undo()


def test_a_file_that_cannot_be_written_is_told_by_the_full_way(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(path: Path, _: bytes) -> None:
        raise OSError(28, "No space left on device", str(path))

    with monkeypatch.context() as patch:
        patch.setattr("pipeline.deliver.work.write_whole", full)
        run.says(bowl="Served cold")
        code, _, err = run()
    assert code == 1
    assert err.count("it could not be written") > 1
    assert run()[0] == 0
    assert run.is_as_fresh()


def test_another_version_trusts_nothing_of_it(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    run.says(bowl="Served cold")
    monkeypatch.setattr(pipeline.deliver.recall, "_ourselves", lambda: "another version")
    run()
    assert run.went_full_way
    run.says(bowl="Served warm")
    run()
    assert not run.went_full_way


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-1])


def turned(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)


@pytest.mark.parametrize("damage", [cut, turned, lambda path: path.write_bytes(b"")], ids=["cut", "turned", "emptied"])
def test_a_damaged_memory_is_none(run: Run, damage: Callable[[Path], None]) -> None:
    run.says(bowl="Served cold")
    for path in run.cache.iterdir():
        damage(path)
    run()
    assert run.went_full_way
    assert run.is_as_fresh()


def test_another_export_at_work_is_told(run: Run) -> None:
    run.says(bowl="Served cold")
    with alone_in(run.out):
        code, out, err = run()
    assert (code, out) == (2, "")
    assert "another export is at work in this folder" in err
    assert not run.went_full_way


def test_what_is_kept_is_small_and_says_nothing(run: Run) -> None:
    run.says(bowl="Served cold")
    run()
    kept = {path.name: path.read_bytes() for path in run.cache.iterdir()}
    assert sum(map(len, kept.values())) < 60_000
    whole = b"".join(name.encode() + data for name, data in kept.items())
    for word in ("Served", "soup", "bowl", "spoon", "Falkenrath", str(run.folder)):
        assert word.encode() not in whole


@pytest.mark.parametrize("words", [("--only", "bowl/*"), ("--rename",)], ids=" ".join)
def test_an_export_of_less_or_of_other_names_goes_the_full_way(run: Run, words: tuple[str, ...]) -> None:
    run(*words)
    run.says(bowl="Served cold")
    run(*words)
    assert run.went_full_way


def test_nothing_heavy_is_loaded_for_a_caption(run: Run) -> None:
    def loaded() -> set[str]:
        probe = "import sys; from pipeline.cli import main; main(sys.argv[1:]); print(*sys.modules)"
        command = [sys.executable, "-c", probe, "export", "--quiet", str(run.job)]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        return {name.partition(".")[0] for name in done.stdout.split()}

    heavy = {"PIL", "dask", "jinja2", "numpy", "pydantic", "pyvips", "rawpy"}
    shutil.rmtree(run.cache)
    assert {"jinja2", "pydantic"} <= heavy & loaded()
    run.says(bowl="Served cold")
    assert not heavy & loaded()
    assert run.is_as_fresh()
