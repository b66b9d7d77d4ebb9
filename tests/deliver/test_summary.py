from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from pipeline.deliver.export import Summary
from pipeline.deliver.summary import summary_lines
from pipeline.faults import Fault
from pipeline.ledger.made import Made
from tests.small_shoot import FRAME, HEAD, plan_of

OUT = Path("shoots/out")


@pytest.fixture
def summary(tmp_path: Path) -> Summary:
    """Return the summary of a run that made everything of one frame but a page that it is too small for."""
    text = HEAD + FRAME.replace('alt = "A bowl of soup"', "") + 'targets = ["blog/letter", "print/a4"]\n'
    _, plan = plan_of(tmp_path, text, (1300, 900))
    return Summary(plan, {}, rendered=1, rewritten=0, kept=0, renamed=(), faults=(), notes=())


def test_what_was_made_and_where_to_look(summary: Summary) -> None:
    assert list(summary_lines(summary, OUT)) == [
        "refused: bowl/print/a4: too small: this crop gives 75 ppi on paper, and 240 ppi is the least for this target",
        "1 file rendered, 0 unchanged, 1 caution (see the plan or the contact sheet)",
        "contact sheet: shoots/out/sheet/index.html",
    ]


def test_what_was_renamed_noted_rewritten_and_what_went_wrong(summary: Summary) -> None:
    told = replace(
        summary,
        rewritten=2,
        kept=3,
        renamed=(("blog/old.jpg", "blog/new.jpg"),),
        notes=("bowl.jpg: alpha flattened on white",),
        faults=(Fault("a", "b", "c"), Fault("d", "e", "f")),
    )
    lines = list(summary_lines(told, OUT))
    assert lines[:2] == ["renamed: blog/old.jpg -> blog/new.jpg", "note: bowl.jpg: alpha flattened on white"]
    assert lines[-2] == (
        "1 file rendered, 2 with new metadata only, 3 unchanged, "
        "1 caution (see the plan or the contact sheet), 2 faults, told below"
    )


@pytest.mark.parametrize(
    ("share", "said"), [(0.004, False), (0.0051, True), (None, False)], ids=["a trace", "worth a word", "not measured"]
)
def test_clipped_colours_are_named_from_half_a_per_cent(summary: Summary, share: float | None, said: bool) -> None:  # noqa: FBT001 (a column of the table)
    path = summary.plan.renditions[0].outputs[0].path
    told = replace(summary, made={path: Made(path, "i", "p", "m", "s", 1, 1, share)})
    line = "note: bowl: up to 0.5% of its colours lie outside sRGB and were clipped"
    assert said == (line in summary_lines(told, OUT))
