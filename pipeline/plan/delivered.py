"""What was delivered keeps its name: published addresses must not break by accident."""

from __future__ import annotations

import operator
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from pipeline.faults import Fault, RequestRefused
from pipeline.plan.files import identity, made_from

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.plan.rendition import Plan, PlannedFrame, Rendition


def with_delivered_names(plan: Plan, delivered: Mapping[str, str]) -> Plan:
    """Return the plan with the name under which each file was delivered before; the very plan where none changes.

    `delivered` gives the path by identity. Raises `RequestRefused` where two files would have one name.
    """
    frames = tuple(map(partial(_frame_named, delivered), plan.frames)) if delivered else plan.frames
    if any(map(operator.is_not, frames, plan.frames)):
        plan = replace(plan, frames=frames)
    if collisions := _collisions(plan, frozenset(delivered.values())):
        raise RequestRefused(*collisions)
    return plan


def _frame_named(delivered: Mapping[str, str], frame: PlannedFrame) -> PlannedFrame:
    renditions = tuple(_named(frame, one, delivered) for one in frame.renditions)
    changed = any(map(operator.is_not, renditions, frame.renditions))
    return replace(frame, renditions=renditions) if changed else frame


def _named(frame: PlannedFrame, rendition: Rendition, delivered: Mapping[str, str]) -> Rendition:
    source, name = made_from(frame, rendition), f"{rendition.outlet}/{rendition.target}"
    paths = [delivered.get(identity(source, name, one.size, one.format), one.path) for one in rendition.outputs]
    if all(path == one.path for path, one in zip(paths, rendition.outputs, strict=True)):
        return rendition
    outputs = (replace(one, path=path) for path, one in zip(paths, rendition.outputs, strict=True))
    return replace(rendition, outputs=tuple(outputs))


def _collisions(plan: Plan, delivered: frozenset[str]) -> list[Fault]:
    """Return a fault for each file name that two renditions would share, also where only the case differs."""
    seen: dict[str, Rendition] = {}
    faults: dict[tuple[str, str], Fault] = {}
    for rendition in plan.renditions:
        for output in rendition.outputs:
            other = seen.setdefault(output.path.lower(), rendition)
            if other is not rendition:
                fault = _collision(plan.job.name, other, rendition, output.path, delivered)
                faults.setdefault((other.name, rendition.name), fault)
    return list(faults.values())


def _collision(job: str, first: Rendition, second: Rendition, path: str, delivered: frozenset[str]) -> Fault:
    found = f"both {first.name} and {second.name} would be written to {path}"
    if path in delivered:
        wanted = "a delivered file keeps its name: `export --rename` gives each the name the job says now"
    elif first.frame == second.frame:
        wanted = f"put {{target}} into the name of the outlet profile '{first.outlet}'"
    else:
        wanted = "give one of the frames another slug"
    return Fault(job, found, wanted)
