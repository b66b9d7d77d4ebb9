"""manifest.json: what was delivered, file by file, for programs and for later."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan, PlannedFrame, Rendition

FORMAT = 1


def manifest_json(plan: Plan, made: Mapping[str, Made], sources: Mapping[str, str]) -> bytes:
    """Return the manifest: every planned file that is there, in order. `sources` are digests by frame slug."""
    document = {
        "manifest": FORMAT,
        "job": plan.job.name,
        "title": plan.title,
        "renditions": [
            _rendition(frame, rendition, made, sources.get(frame.slug))
            for frame in plan.frames
            for rendition in frame.renditions
        ],
    }
    return (json.dumps(document, ensure_ascii=False, indent=1) + "\n").encode()


def _rendition(
    frame: PlannedFrame, rendition: Rendition, made: Mapping[str, Made], source: str | None
) -> dict[str, Any]:
    box = rendition.crop.box
    return {
        "frame": frame.slug,
        "source": {"file": frame.file, "sha256": source},
        "target": f"{rendition.outlet}/{rendition.target}",
        "box": [box.left, box.top, box.width, box.height],
        "subject_at": [round(rendition.crop.subject_at.x, 4), round(rendition.crop.subject_at.y, 4)],
        "anchor": rendition.crop.reached,
        "effective_ppi": None if rendition.effective_ppi is None else round(rendition.effective_ppi, 1),
        "settings": asdict(rendition.settings),
        "metadata": rendition.policy,
        "refused": rendition.refused,
        "cautions": list(rendition.cautions),
        "files": [
            {
                "path": row.path,
                "sha256": row.sha256,
                "bytes": row.size_bytes,
                "size": [output.size.width, output.size.height],
                "format": output.format,
                "ppi": output.ppi,
                "outside_gamut": None if row.outside_gamut is None else round(row.outside_gamut, 6),
            }
            for output in rendition.outputs
            if (row := made.get(output.path))
        ],
    }
