from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from pipeline.faults import RequestRefused
from pipeline.job.listing import target_lines
from pipeline.job.outlets import packaged_outlets
from tests.small_shoot import OWN_TARGET

if TYPE_CHECKING:
    from pathlib import Path


def test_every_packaged_target_has_a_line_with_its_shape_size_formats_and_use() -> None:
    lines = target_lines(None)
    for name, outlet in packaged_outlets().items():
        assert f"{name}: {outlet.profile.about}" in lines
        for key, target in outlet.profile.targets.items():
            (line,) = [line for line in lines if line.startswith(f"  {name}/{key} ")]
            assert line.endswith(f" {target.about}")
            assert f" {', '.join(target.formats)} " in line


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("blog/hero", ["16:9", "800, 1200, 1600, 2400 px wide"]),
        ("blog/link-preview", ["1200 x 630", "1200 px wide"]),
        ("feed/tall", ["4:5, also 1:1", "1080 px wide"]),
        ("feed/avatar", ["1:1, round", "400 px wide"]),
        ("print/a4", ["210 x 297 mm", "300 ppi + 3 mm bleed"]),
        ("print/eight-by-ten", ["203.2 x 254 mm", "300 ppi  "]),
    ],
)
def test_shapes_and_sizes_in_words(name: str, words: list[str]) -> None:
    (line,) = [line for line in target_lines(None) if line.startswith(f"  {name} ")]
    assert [word for word in words if word not in line] == []


def test_own_profiles_are_listed_as_well(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(f'outlet = "mine"\nabout = "My own"\n[targets.square]{OWN_TARGET}')
    lines = target_lines(tmp_path)
    assert lines[: len(target_lines(None))] == target_lines(None)
    assert "mine: My own" in lines


def test_faults_in_own_profiles_are_told(tmp_path: Path) -> None:
    with pytest.raises(RequestRefused, match=r"no \.toml file is in this folder"):
        target_lines(tmp_path)
    with pytest.raises(RequestRefused, match="there is no such folder"):
        target_lines(tmp_path / "absent")
