"""The page of costs: its arithmetic, its plots, and that each case can be made from frames of its size."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.bench.cost import CAMERA_MP, FOUR, SIZES, TEN, Case, Cost, axes, fitted, machines, page
from tests.bench.plot import STEPS, Plot, step_of, svg
from tests.bench.shoot import JOB, OUTLETS, repeated
from tests.small_shoot import plan_of

if TYPE_CHECKING:
    from pathlib import Path

SVG = "{http://www.w3.org/2000/svg}"


@given(st.floats(0, 100), st.floats(0.01, 100), st.lists(st.integers(1, 500), min_size=2, max_size=9, unique=True))
def test_a_line_through_points_on_a_line_is_that_line(begin: float, slope: float, places: list[int]) -> None:
    found = fitted([(place, begin + slope * place) for place in places])
    assert found == pytest.approx((begin, slope), abs=1e-6 * (1 + begin + 500 * slope))


def test_how_many_machines() -> None:
    # 2 s to begin, 1 s a frame: 3598 frames an hour each, 100,000 / 3598 is 27.8.
    assert machines(2.0, 1.0, 3600) == 28
    assert machines(0.0, 1.0, 100_000) == 1


@given(st.floats(1e-3, 1e6))
def test_steps_of_an_axis_are_one_two_or_five_and_few(most: float) -> None:
    step = step_of(most)
    assert f"{step:.0e}"[0] in "125"
    assert 1 <= most / step <= STEPS * (1 + 1e-9)


def test_a_plot_shows_its_points_in_order_and_to_scale() -> None:
    plot = Plot("Time & frames", "frames", "s", ((1, 2.0), (2, 4.0), (4, 8.0)), (0.0, 2.0))
    root = ET.fromstring(svg(plot))  # noqa: S314 (ours)
    circles = [(float(one.attrib["cx"]), float(one.attrib["cy"])) for one in root.iter(f"{SVG}circle")]
    (x1, y1), (x2, y2), (x4, y4) = circles
    assert x4 - x2 == pytest.approx(2 * (x2 - x1), abs=0.2)
    assert y2 - y4 == pytest.approx(2 * (y1 - y2), abs=0.2)
    dashed = next(one for one in root.iter(f"{SVG}line") if "stroke-dasharray" in one.attrib)
    assert (float(dashed.attrib["x2"]), float(dashed.attrib["y2"])) == (x4, y4)
    assert "Time & frames" in [one.text for one in root.iter(f"{SVG}text")]


@pytest.mark.parametrize(("megapixels", "targets"), [*((size, FOUR) for size in SIZES), (CAMERA_MP, TEN)])
def test_each_case_can_be_made(megapixels: int, targets: tuple[str, ...], tmp_path: Path) -> None:
    size = SIZES[megapixels]
    assert size.pixels == pytest.approx(megapixels * 1e6, rel=0.03)
    text, links = repeated(JOB.read_text(encoding="utf-8"), 12)
    (tmp_path / OUTLETS.name).symlink_to(OUTLETS)
    _, plan = plan_of(tmp_path, text, *[(size.width, size.height)] * len(links))
    asked = [one for one in plan.renditions if one.target in targets]
    assert len(asked) == 12 * len(targets)
    assert [one.name for one in asked if one.refused or not one.outputs] == []


def test_the_page_tells_every_case_and_shows_every_plot() -> None:
    found = {
        name: [
            Cost(case, 5.0 + 2.0 * case.frames, 3.0 * case.frames, 10**9, 10**7 * case.frames) for case in cases
        ]
        for name, _, cases in axes(2)
    }  # fmt: skip
    text, pictures = page(found, ["a machine"])
    assert set(re.findall(r"\(cost/([\w-]+\.svg)\)", text)) == set(pictures)
    assert text.count("\n| ") == sum(len(costs) + 2 for costs in found.values()) + 2 + 3 + 4
    # 2 s a frame: 200,000 s are 2.31 days; 3 s of processors: 83.3 hours; 10 MB a frame: 1 TB.
    assert "| one machine like this | 2.31 days |" in text
    assert "| processor time | 83.3 core hours |" in text
    assert "| delivered | 1 TB, in 1,000,000 files |" in text
    # (3600 - 5) / 2 is 1797 frames an hour: 56 machines.
    assert "| machines like this, to be done within 1 h | 56 |" in text


def test_cases_grow_one_thing_at_a_time() -> None:
    for name, value_of, cases in axes(4):
        values = [value_of(case) for case in cases]
        assert values == sorted(set(values)), name
        others = {
            tuple(getattr(case, field) for field in ("frames", "megapixels", "workers") if field != name)
            for case in cases
        }
        assert len(others) == 1, name
    assert {case.workers for case in axes(4)[3][2]} == {1, 2, 4}
    assert Case(6, 24, TEN, 4) in axes(4)[3][2]
