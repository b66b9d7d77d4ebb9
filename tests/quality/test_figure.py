"""The rows of the table: what keeps a bound, how figures are shown, and what the command answers."""

from __future__ import annotations

import math
import sys
from types import ModuleType
from typing import TYPE_CHECKING

import pytest

from tests.quality import __main__ as command
from tests.quality import steps
from tests.quality.figure import Bound, Figure, at_least, at_most, between, exactly, heading, number, row, told

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.mark.parametrize(
    ("bound", "kept", "missed"),
    [
        (at_most(0.1), [0.1, 0, -3], [0.100001, math.inf, math.nan]),
        (at_least(1.2), [1.2, 7, math.inf], [1.19, -1, math.nan]),
        (between(1.2, 1.6), [1.2, 1.4, 1.6], [1.19, 1.61, math.nan]),
        (exactly(188), [188], [187, 189, 188.01, math.nan]),
        (told(), [0, -5, math.inf], [math.nan]),
    ],
)
def test_a_bound_is_kept_up_to_its_edge_and_by_no_number_that_is_none(
    bound: Bound, kept: list[float], missed: list[float]
) -> None:
    assert [bound.holds(figure) for figure in kept] == [True] * len(kept)
    assert [bound.holds(figure) for figure in missed] == [False] * len(missed)


@pytest.mark.parametrize(
    ("bound", "words"),
    [
        (at_most(0.1, "%"), "at most 0.1 %"),
        (at_least(3), "at least 3"),
        (at_most(0.000001), "at most 0.000001"),
        (at_most(400), "at most 400"),
        (between(1.2, 1.6), "1.2 to 1.6"),
        (exactly(188), "188"),
        (told(), "none: told beside the others"),
    ],
)
def test_a_bound_in_words(bound: Bound, words: str) -> None:
    assert words == str(bound)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (188, "188"), (188.0, "188"), (0, "0"), (0.1, "0.100"), (0.04567, "0.0457"), (0.000001, "0.00000100"),
        (1e-12, "0"),
        (1.2349, "1.23"), (1.0004, "1.00"), (36.66, "36.7"), (4000, "4,000"), (123456.7, "123,457"), (-2.5, "-2.50"),
        (math.nan, "nan"), (math.inf, "inf"),
    ],
)  # fmt: skip
def test_three_digits_that_count(value: float, shown: str) -> None:
    assert shown == number(value)


def figure(value: float) -> Figure:
    return Figure("light", "a | b", value, at_most(1, "%"), "house", "by hand", "elsewhere 2 %")


def test_a_row_says_where_its_bound_is_missed() -> None:
    assert row(figure(0.5)) == "| light | a \\| b | 0.500 % (elsewhere 2 %) | at most 1 % | house | by hand |"
    assert "**MISSED: 1.50 %**" in row(figure(1.5))
    assert heading().splitlines()[1].count("---") == row(figure(0)).replace("\\|", "").count("|") - 1


@pytest.fixture
def one_step(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Put a step of its own in place of all others."""
    module = ModuleType("tests.quality.made_up")
    monkeypatch.setitem(sys.modules, module.__name__, module)
    monkeypatch.setattr(command, "STEPS", ("made_up",))
    monkeypatch.setattr(steps, "STEPS", ("made_up",))
    monkeypatch.setattr(sys, "argv", ["quality"])
    return module


@pytest.mark.parametrize(("values", "code"), [([0.5, 1.0], 0), ([0.5, 1.5], 1), ([math.nan], 1)])
def test_the_command_answers_1_where_a_bound_is_missed(
    one_step: ModuleType, capsys: pytest.CaptureFixture[str], values: list[float], code: int
) -> None:
    one_step.figures = lambda *, full: map(figure, values)  # type: ignore[attr-defined] # noqa: ARG005
    assert code == command.main()
    printed = capsys.readouterr().out
    assert printed.count("| light |") == len(values)
    assert f"{len(values)} figures, {code} miss" in printed


def test_the_command_names_what_it_left_out(one_step: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    def figures(*, full: bool) -> Iterator[Figure]:
        del full
        yield figure(0.5)
        pytest.skip("judge missing: sharp")

    one_step.figures = figures  # type: ignore[attr-defined]
    assert command.main() == 0
    assert "left out, made_up: judge missing: sharp" in capsys.readouterr().out
