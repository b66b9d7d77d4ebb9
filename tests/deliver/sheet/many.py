"""The sample shoot over and over: a plan of three hundred frames, from headers alone, without a pixel."""

from __future__ import annotations

import hashlib
import itertools
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.deliver.review.round import round_id
from pipeline.deliver.review.state import Review
from pipeline.deliver.survey import survey
from pipeline.ledger.made import Made

if TYPE_CHECKING:
    from pipeline.plan.rendition import Output, Plan, PlannedFrame, Rendition

SAMPLE = Path(__file__).resolve().parents[3] / "sample_shoot" / "job.toml"


def many_frames(count: int = 300) -> Plan:
    """Return the sample's plan with its frames one after the other until there are `count`, each under its own name."""
    plan = survey(SAMPLE).plan({})
    frames = (_again(frame, number) for number in itertools.count() for frame in plan.frames)
    return replace(plan, frames=tuple(itertools.islice(frames, count)))


def all_made(plan: Plan) -> dict[str, Made]:
    """Return what the ledger would know when all of the plan was made."""
    outputs = [output for rendition in plan.renditions for output in rendition.outputs]
    return {output.path: Made(output.path, "", "", "", "", 484_000, 0, 0.012) for output in outputs}


def review_of_plan(plan: Plan, **changes: Any) -> Review:  # noqa: ANN401 (fields of Review)
    """Return a first round that shows every rendition of the plan, with a picture key for each."""
    keys = {
        one.name: hashlib.sha256(one.name.encode()).hexdigest()[:32] for one in plan.renditions if one.refused is None
    }
    return replace(Review(round_id(keys.values()), 1, None, keys), **changes)


def _again(frame: PlannedFrame, number: int) -> PlannedFrame:
    slug = f"{frame.slug}-{number + 1}"
    renditions = tuple(_under(one, slug, number) for one in frame.renditions)
    return replace(frame, slug=slug, whole=_under(frame.whole, slug, number), renditions=renditions)


def _under(rendition: Rendition, slug: str, number: int) -> Rendition:
    def named(output: Output | None) -> Output | None:
        if output is None:
            return None
        folder, _, name = output.path.rpartition("/")
        return replace(output, path=f"{folder}/{number + 1}-{name}")

    return replace(
        rendition,
        frame=slug,
        preview=named(rendition.preview),
        small=named(rendition.small),
        full=named(rendition.full),
        outputs=tuple(filter(None, map(named, rendition.outputs))),
    )
