"""What all rooms' tests share: how many examples are tried, what runs only in `tests/full`, and the outside judges."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, settings

from tests.exiftool import tags_of
from tests.side_by_side import ByGroup, place

if TYPE_CHECKING:
    from xdist.remote import Producer

# One codec thread, as in the command: an AVIF encoder that may use more gives other bytes.
os.environ["VIPS_CONCURRENCY"] = "1"
# One thread of linear algebra a process: two processes with two each wait for each other. Read when numpy is loaded.
os.environ["OPENBLAS_NUM_THREADS"] = "1"
# A shell that begins a run in the background has it ignore interrupts, and so would exports that a test interrupts.
signal.signal(signal.SIGINT, signal.default_int_handler)

ReadTags = Callable[..., dict[str, Any]]

IN_CI = os.environ.get("CI") == "true"
MISSING = "judge missing: "
QUICK = ("-XX:TieredStopAtLevel=1", "-XX:+UseSerialGC", "-Xss2m")  # a checker that runs once is not worth optimising
JUDGES = Path(__file__).resolve().parent.parent / ".judges" / "node_modules"


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--full", action="store_true", help="also the tests marked full, and many more examples")


def pytest_configure(config: pytest.Config) -> None:
    # What is kept between runs belongs to a run of the tests alone, in all the processes it starts.
    os.environ["XDG_CACHE_HOME"] = tempfile.mkdtemp(prefix="plateline-tests-")
    config.addinivalue_line("markers", "full: takes long; runs with --full only (tests/full does)")
    # No law is timed: a slow machine is not a fault. In CI the examples are the same at every run.
    untimed = settings(deadline=None, print_blob=True, suppress_health_check=[HealthCheck.too_slow])
    settings.register_profile("moderate", untimed, max_examples=60, derandomize=IN_CI)
    settings.register_profile("full", untimed, max_examples=2000)
    settings.load_profile("full" if config.getoption("--full") else "moderate")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: place(item.nodeid))
    if config.getoption("--full"):
        return
    long = [item for item in items if item.get_closest_marker("full")]
    config.hook.pytest_deselected(items=long)
    items[:] = [item for item in items if item not in long]


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> ByGroup:
    """Keep together what shares a set-up."""
    return ByGroup(config, log)


def pytest_unconfigure() -> None:
    shutil.rmtree(os.environ["XDG_CACHE_HOME"], ignore_errors=True)


def pytest_sessionfinish(session: pytest.Session) -> None:
    """In CI nothing may be left out: a skipped test fails the run."""
    if IN_CI and _skips(session.config) and session.exitstatus == pytest.ExitCode.OK:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    skips = _skips(config)
    missing = {reason.removeprefix(MISSING): n for reason, n in skips.items() if reason.startswith(MISSING)}
    if skips:
        terminalreporter.section("left out")
        for judge, n in sorted(missing.items()):
            terminalreporter.line(f"{n} skipped for want of a judge: {judge}")
        terminalreporter.line(f"{skips.total()} skipped in all" + ("; in CI that is a failure" if IN_CI else ""))


def _skips(config: pytest.Config) -> Counter[str]:
    """Count the skipped tests and modules by reason; empty in the workers, which report to one terminal."""
    reporter = config.pluginmanager.get_plugin("terminalreporter")
    reports = reporter.stats.get("skipped", []) if reporter else []
    return Counter(str(report.longrepr[2]).removeprefix("Skipped: ") for report in reports)


@pytest.fixture(scope="session")
def exiftool() -> ReadTags:
    """Return `read(path, *options)`: the tags of one file by `Group:Name`, as exiftool reads them.

    The group is exiftool's family 1 (`IFD0`, `ExifIFD`, `XMP-dc`, `ICC_Profile`); values are printed ones, or the
    stored ones with `"-n"`. An unreadable file raises `tests.exiftool.Refused`.
    """
    return tags_of


@pytest.fixture(scope="session")
def w3c_errors() -> Callable[..., list[str]]:
    """Return `errors(*pages)`: what the W3C's Nu Html Checker finds wrong in HTML files, as sentences.

    It is the jar of the npm package vnu-jar: named by PLATELINE_VNU, else where npm puts it below `.judges`.
    """
    inside = JUDGES / "vnu-jar" / "build" / "dist" / "vnu.jar"
    jar = Path(os.environ.get("PLATELINE_VNU") or inside)
    java = shutil.which("java")
    if java is None:
        pytest.skip(MISSING + "java, for vnu-jar")
    if not jar.is_file():
        pytest.skip(MISSING + "vnu-jar")

    def errors(*pages: Path) -> list[str]:
        command = [java, *QUICK, "-jar", str(jar), "--format", "json", "--exit-zero-always", "--no-langdetect"]
        done = subprocess.run([*command, *map(str, pages)], capture_output=True, text=True, check=True)
        report: dict[str, Any] = json.loads(done.stderr)
        found = [message for message in report["messages"] if message["type"] != "info"]
        return [f"{Path(one.get('url', '?')).name}: {one['message']} {one.get('extract', '')}" for one in found]

    return errors
