"""No picture, no Exif and no broken file makes a look crash, or gives a number that is none."""

from __future__ import annotations

import importlib.util
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.frames.inspection.odd import check, inspected, inspected_file

MANY = 10_000
anything = st.binary(max_size=120)


@given(anything)
def test_odd_frames(data: bytes) -> None:
    check(inspected(data))


@pytest.mark.full
@settings(max_examples=MANY // 2)
@given(anything)
def test_five_thousand_odd_frames(data: bytes) -> None:
    check(inspected(data))


@given(data=anything)
def test_broken_files(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    seen = inspected_file(data, tmp_path_factory.getbasetemp())
    if seen is not None:
        check(seen)


@pytest.mark.full
@settings(max_examples=MANY // 2)
@given(data=anything)
def test_five_thousand_broken_files(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    seen = inspected_file(data, tmp_path_factory.getbasetemp())
    if seen is not None:
        check(seen)


# Ten runs one after the other: what atheris keeps for itself of each frame adds up.
@pytest.mark.parametrize(
    ("seed", "runs"), [(2026, 150), *(pytest.param(seed, MANY // 10, marks=pytest.mark.full) for seed in range(10))]
)
def test_whatever_bytes_atheris_thinks_of(seed: int, runs: int) -> None:
    if importlib.util.find_spec("atheris") is None:
        pytest.skip("judge missing: atheris")
    command = [sys.executable, "-m", "tests.frames.inspection.odd_atheris", str(runs), str(seed)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=3600)
    assert done.returncode == 0, (done.stdout + done.stderr)[-3000:]
    assert f"Done {runs} runs" in done.stderr
