"""What was found is written into a job file; all else stays byte for byte, as difflib and tomllib see it."""

from __future__ import annotations

import difflib
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.faults import Fault
from pipeline.job.write_back import Found, with_found
from pipeline.light.box import Point, Region

SAMPLE = Path(__file__).parents[2] / "sample_shoot" / "job.toml"
FOUND = Found(Point(0.467, 0.545), Region(0.27, 0.255, 0.665, 0.845), -0.8)
POINT_ALONE = Found(Point(0.1, 1.0))

JOB = """\
profiles = ["blog"]   # odd   spacing
[shoot]
title = "A [[frames]] of mine"

[[frames]]
file = "a.jpg"
\tsubject   =  'auto'   # where "auto" is said
alt = "subject = \\"auto\\""

# --- between ---
[[pairs]]
pair = ["a", "b"]
targets = ["feed/two-up"]

[[ frames ]]  # second
file = "b.jpg"
subject = [0.5, 0.5]

    [[frames.crops]]
    target = "feed/*"
    subject = [0.4, 0.4]

[[frames]]
"subject" = "auto"
file = "c.jpg" """


def written(text: str, found: dict[int, Found]) -> str:
    new = with_found(text.encode(), found, "job.toml")
    assert isinstance(new, bytes)
    return new.decode()


def changed_lines(old: str, new: str) -> list[str]:
    """Return the lines that went (-) and came (+), as difflib has them."""
    return [line for line in difflib.ndiff(old.splitlines(), new.splitlines()) if line[:1] in "+-"]


def test_only_the_lines_that_say_auto_change() -> None:
    assert changed_lines(JOB, written(JOB, {1: FOUND, 3: POINT_ALONE})) == [
        "- \tsubject   =  'auto'   # where \"auto\" is said",
        '+ \tsubject   =  [0.467, 0.545]   # where "auto" is said',
        "+ \tkeep = [0.27, 0.255, 0.665, 0.845]",
        "+ \tturn_deg = -0.8",
        '- "subject" = "auto"',
        '+ "subject" = [0.1, 1.0]',
    ]


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize("bom", ["", "\ufeff"])
def test_line_ends_and_a_byte_order_mark_stay(ending: str, bom: str) -> None:
    old = bom + JOB.replace("\n", ending)
    new = written(old, {1: FOUND})
    assert new.startswith(bom + "profiles")
    assert new.count("\n") == new.count(ending) == old.count(ending) + 2
    assert tomllib.loads(new.removeprefix(bom))["frames"][0]["turn_deg"] == -0.8


def test_auto_as_the_last_word_of_the_file() -> None:
    text = '[[frames]]\nfile = "a.jpg"\nsubject = "auto"'
    assert written(text, {1: FOUND}) == (
        '[[frames]]\nfile = "a.jpg"\nsubject = [0.467, 0.545]\nkeep = [0.27, 0.255, 0.665, 0.845]\nturn_deg = -0.8'
    )


shares = st.floats(0, 1).map(lambda share: round(share, 3))


@given(st.dictionaries(st.integers(1, 10), st.builds(Found, st.builds(Point, shares, shares)), min_size=1))
def test_the_job_of_the_sample_shoot(found: dict[int, Found]) -> None:
    old = SAMPLE.read_bytes().decode()
    entries = tomllib.loads(old)["frames"]
    lines = old.split("\n")
    heads = [at for at, line in enumerate(lines) if line == "[[frames]]"]
    for number in found:
        at = next(at for at in range(heads[number - 1], len(lines)) if lines[at].startswith("subject"))
        lines[at] = 'subject = "auto"' + "".join(lines[at].partition(" #")[1:])
    new = written("\n".join(lines), found)
    said = tomllib.loads(new)["frames"]
    for number, entry in enumerate(entries, start=1):
        wanted = found[number].values["subject"] if number in found else entry["subject"]
        assert said[number - 1] == entry | {"subject": wanted}
    kept = [line for line in old.split("\n") if not line.startswith("subject")]
    assert kept == [line for line in new.split("\n") if not line.startswith("subject")]


@pytest.mark.parametrize(
    "text",
    [
        'frames = [{ file = "a.jpg", subject = "auto" }]\n',
        '[[frames]]\nfile = "a.jpg"\nsubject = """auto"""\n',
        'note = """\n[[frames]]\nsubject = "auto"\n"""\n[[frames]]\nfile = "a.jpg"\nsubject = "auto"\n',
        '[[frames]]\nfile = "a.jpg"\nsubject = "auto"\nkeep = [0.0, 0.0, 1.0, 1.0]\n',
    ],
)
def test_what_cannot_be_written_is_given_to_be_written_by_hand(text: str) -> None:
    tomllib.loads(text)
    assert with_found(text.encode(), {1: FOUND}, "job.toml") == [
        Fault(
            "job.toml",
            "what was found cannot be written into it as it stands",
            ("write it there yourself: subject = [0.467, 0.545], keep = [0.27, 0.255, 0.665, 0.845], turn_deg = -0.8"),
            "frames[1]",
        )
    ]
