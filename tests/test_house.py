"""The house around the code: what is packaged, what starts fast, what the repository may hold."""

from __future__ import annotations

import functools
import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from tests.side_by_side import FIRST, FOLDERS
from tests.small_shoot import write_job

CHECKOUT = Path(__file__).resolve().parent.parent
PYPROJECT = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))
SETUPTOOLS = PYPROJECT["tool"]["setuptools"]

HEAVY = {"PIL", "dask", "distributed", "fsspec", "jinja2", "lxml", "numpy", "piexif", "pyvips", "rawpy", "watchfiles"}

# A folder in which someone works: these hold for any machine, not only for this one.
MACHINE_PATH = re.compile(rb"(?<![\w.:/~*$}-])/(home|Users|root|work|tmp|opt|mnt|media|srv)/[\w.-]+")
# A package registry by its host, or a setting that names one.
REGISTRY = re.compile(
    rb"(?:pypi|pythonhosted|npmjs|debian|anaconda|rubygems|crates)\.(?:org|com|net|io)\b"
    rb"|://[\w.-]*\b(?:registry|mirrors?|packages|proxy)\."
    rb"|--(?:extra-)?index-url|--find[-]links|--trusted[-]host"
)

PROBE = """
import contextlib, io, sys
from pipeline.cli import main
with contextlib.suppress(SystemExit), contextlib.redirect_stdout(io.StringIO()) as said:
    main(sys.argv[1:])
assert said.getvalue().strip(), "it said nothing"
print(*sorted({name.partition(".")[0] for name in sys.modules}))
"""


def git(*words: str) -> str:
    """Run git on the checkout; a source package that is no checkout cannot be judged."""
    command = shutil.which("git")
    if command is None or not (CHECKOUT / ".git").exists():
        pytest.skip("judge missing: a git checkout")
    return subprocess.run([command, *words], cwd=CHECKOUT, capture_output=True, text=True, check=True).stdout


@functools.cache
def tracked() -> list[Path]:
    """Return the tracked files that are in the working tree."""
    names = git("ls-files", "-z").split("\0")
    return [CHECKOUT / name for name in names if name and (CHECKOUT / name).is_file()]


def opened_with(*words: str, cache: Path | None = None) -> frozenset[str]:
    """Return the top-level modules that `plateline` has loaded after one command."""
    where = {"XDG_CACHE_HOME": str(cache)} if cache else {}
    command = [sys.executable, "-c", PROBE, *words]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env={**os.environ, **where})
    assert done.returncode == 0, done.stderr
    return frozenset(done.stdout.split())


@pytest.mark.parametrize("pattern", [MACHINE_PATH, REGISTRY], ids=["path of a machine", "package registry"])
def test_no_tracked_file_names_a_machine_or_a_registry(pattern: re.Pattern[bytes]) -> None:
    hits = {
        f"{path.relative_to(CHECKOUT)}: {hit.group().decode(errors='replace')}"
        for path in tracked()
        for hit in pattern.finditer(path.read_bytes())
    }
    assert set() == hits


@pytest.mark.parametrize(
    ("pattern", "sample"),
    [
        (MACHINE_PATH, b'open("/' + b'home/someone/a.jpg")'),
        (MACHINE_PATH, b"cd /" + b"tmp/x1"),
        (REGISTRY, b"https://files.pythonhosted." + b"org/packages"),
        (REGISTRY, b"pip install --extra-" + b"index-url X"),
        (REGISTRY, b"https://" + b"registry.example/simple"),
    ],
)
def test_the_patterns_find_what_they_are_for(pattern: re.Pattern[bytes], sample: bytes) -> None:
    assert pattern.search(sample)


def test_this_checkout_is_named_in_no_tracked_file() -> None:
    here = re.compile(rb"(?<![\w.])" + re.escape(str(CHECKOUT).encode()) + rb"\b")
    hits = [path.name for path in tracked() if here.search(path.read_bytes())]
    assert hits == []


def test_all_history_stays_under_60_mb() -> None:
    assert int(git("rev-list", "--all", "--objects", "--disk-usage")) < 60_000_000


def test_the_readme_opens_with_the_job_and_names_both_commands() -> None:
    readme = (CHECKOUT / "README.md").read_text(encoding="utf-8")
    title, opening, *_ = [block.strip() for block in readme.split("\n\n") if block.strip()]
    assert title.startswith("# ")
    assert re.match(r"[A-Z]", opening), "a paragraph comes first, not a list, a picture or a table"
    assert len(opening.split()) >= 40
    for command in ("sample_shoot/run", "tests/run"):
        assert command in readme


@pytest.mark.parametrize("command", ["sample_shoot/run", "tests/run", "tests/full", ".ci/run", "tools/make-venv"])
def test_each_documented_command_can_be_run(command: str) -> None:
    assert os.access(CHECKOUT / command, os.X_OK)


def test_every_room_is_packaged() -> None:
    rooms = {".".join(path.parent.relative_to(CHECKOUT).parts) for path in (CHECKOUT / "pipeline").rglob("__init__.py")}
    assert rooms | {"pipeline.profiles"} == set(SETUPTOOLS["packages"])


def test_every_file_that_is_no_module_is_packaged() -> None:
    folders = {name: CHECKOUT.joinpath(*name.split(".")) for name in SETUPTOOLS["packages"]}
    folders |= {name: CHECKOUT / where for name, where in SETUPTOOLS["package-dir"].items()}
    patterns = SETUPTOOLS["package-data"]
    packaged = {
        file for name, folder in folders.items() for text in patterns.get(name, []) for file in folder.glob(text)
    }
    present = {
        file
        for top in ("pipeline", "profiles")
        for file in (CHECKOUT / top).rglob("*")
        if file.is_file() and file.suffix not in {".py", ".pyc", ".so"} and not file.name.startswith(".")
    }
    compiled = SETUPTOOLS["ext-modules"]
    packaged |= {CHECKOUT / file for module in compiled for file in (*module["sources"], *module["depends"])}
    assert present == packaged


@pytest.mark.parametrize(
    "words", [("--help",), ("export", "--help"), ("targets",), ("schema",), ("schema", "--of", "reply")], ids=" ".join
)
def test_what_only_prints_loads_no_heavy_library(words: tuple[str, ...]) -> None:
    loaded = opened_with(*words)
    assert "pipeline" in loaded
    assert set() == HEAVY & loaded


@pytest.mark.parametrize("verb", ["check", "plan"])
def test_what_looks_at_a_job_reads_headers_and_loads_nothing_for_pixels(tmp_path: Path, verb: str) -> None:
    job = write_job(tmp_path)
    first, again = (opened_with(verb, str(job), "--out", str(tmp_path / "out"), cache=tmp_path) for _ in range(2))
    assert HEAVY & first == {"pyvips"}  # which reads the headers, and is the decoder: they cannot disagree
    assert {"pydantic", "sqlite3"} & again == HEAVY & again == set()  # said again: the job is not even checked


def test_an_export_with_nothing_to_do_loads_nothing(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    first, again = (opened_with("export", str(job), cache=tmp_path) for _ in range(2))
    assert first >= {"pyvips", "numpy", "pydantic"}
    assert ({"pydantic", "sqlite3"} | HEAVY) & again == set()


@pytest.mark.parametrize("name", [*FOLDERS, *FIRST])
def test_what_is_said_of_the_tests_order_is_said_of_tests_that_are_there(name: str) -> None:
    assert (CHECKOUT / name).exists()


def test_rooms_import_one_way() -> None:
    command = Path(sys.executable).with_name("lint-imports")
    if not command.exists():
        pytest.skip("judge missing: import-linter")
    done = subprocess.run([command, "--no-cache"], cwd=CHECKOUT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout
