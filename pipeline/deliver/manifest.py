"""manifest.json: what was delivered, file by file, for programs and for later.

It carries the facts that the files of each rendition state, as their metadata policy leaves them, so that a folder can
be checked when the job file is long gone (`pipeline.deliver.verify`), and what is needed to pack an outlet's part of it
(`pipeline.deliver.pack`): the days that hold, whatever the policy lets the files say, the sponsor and the approvals.
"""

from __future__ import annotations

import hashlib
from dataclasses import asdict
from fractions import Fraction
from functools import cache, partial
from typing import TYPE_CHECKING, Any, NamedTuple

from pipeline.deliver.json_text import Recurring, json_text
from pipeline.deliver.recall import known_text
from pipeline.deliver.review.round import picture_keys
from pipeline.render.stated import stated

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.ledger.made import Made
    from pipeline.plan.facts import PictureFacts, Policy
    from pipeline.plan.rendition import PixelSettings, Plan, PlannedFrame, Rendition

FORMAT = 3
DEPTH = 3  # of what is said of one rendition
_CAMERA = ("make", "model", "lens", "exposure_s", "f_number", "iso", "focal_mm")


class _Recurring(NamedTuple):
    """What many renditions have in common, written once."""

    facts: Recurring
    settings: Recurring


def manifest_json(plan: Plan, made: Mapping[str, Made], sources: Mapping[str, str]) -> bytes:
    """Return the manifest: every planned file that is there, in order. `sources` are digests by frame slug."""
    keys = picture_keys(plan, sources)
    recurring = _Recurring(Recurring(_facts, DEPTH), Recurring(_settings, DEPTH))
    document = {
        "manifest": FORMAT,
        "job": plan.job.name,
        "title": plan.title,
        "slug": plan.slug,
        "date": plan.date,
        "language": plan.language,
        "sponsor": {"name": plan.sponsor, "disclosure": plan.disclosure} if plan.sponsor else None,
        "renditions": [
            _rendition(frame, rendition, made, sources.get(frame.slug), keys.get(rendition.name), recurring)
            for frame in plan.frames
            for rendition in frame.renditions
        ],
    }
    return f"{json_text(document)}\n".encode()


def _rendition(
    frame: PlannedFrame,
    rendition: Rendition,
    made: Mapping[str, Made],
    source: str | None,
    picture_key: str | None,
    recurring: _Recurring,
) -> dict[str, Any]:
    box = rendition.crop.box
    return {
        "frame": frame.slug,
        "source": {"file": frame.shown_file, "sha256": source},
        "target": f"{rendition.outlet}/{rendition.target}",
        "about": rendition.about,
        "beside": rendition.beside.frame if rendition.beside else None,
        "picture_key": picture_key,
        "needs_approval": rendition.needs_approval,
        "approvals": [
            {"reviewer": one.reviewer, "date": one.date, "round": one.round_id} for one in rendition.approvals
        ],
        "not_before": rendition.facts.not_before,
        "licence_ends": rendition.facts.licence_ends,
        "box": [box.left, box.top, box.width, box.height],
        "turn_deg": rendition.crop.turn_deg,
        "subject_at": [round(rendition.crop.subject_at.x, 4), round(rendition.crop.subject_at.y, 4)],
        "anchor": rendition.crop.reached,
        "effective_ppi": None if rendition.effective_ppi is None else round(rendition.effective_ppi, 1),
        "settings": recurring.settings(rendition.settings),
        "channels": rendition.settings.channels,
        "metadata": rendition.policy,
        "facts": recurring.facts(rendition.facts, rendition.policy),
        "camera": _camera(frame, rendition),
        "icc_profile_sha256": _profile_digest(rendition.settings),
        "refused": rendition.refused,
        "cautions": list(rendition.cautions),
        "files": [
            {
                "path": row.path,
                "sha256": row.sha256,
                "picture_sha256": row.picture_sha256,
                "bytes": row.size_bytes,
                "size": [output.size.width, output.size.height],
                "format": output.format,
                "ppi": output.ppi,
                "outside_gamut": None if row.outside_gamut is None else round(row.outside_gamut, 6),
                "total_ink": row.total_ink,
                "heavy_ink": row.heavy_ink,
                "ink_over": row.ink_over,
                "quality": row.quality,
                "fidelity": row.fidelity,
            }
            for output in rendition.outputs
            if (row := made.get(output.path))
        ],
    }


def _facts(facts: PictureFacts, policy: Policy) -> dict[str, Any] | None:
    """Return what the files state, without what they are silent about; None for words that no file can carry."""
    try:
        return _spoken(asdict(stated(facts, policy)))
    except ValueError:
        return None


def _spoken(values: dict[str, Any]) -> dict[str, Any]:
    """Return what is said at all: no None, nothing empty, structures likewise."""
    spoken: dict[str, Any] = {}
    for name, value in values.items():
        if isinstance(value, dict):
            value = _spoken(value)  # noqa: PLW2901 (the same value, shorter)
        elif isinstance(value, tuple):
            value = [_spoken(one) if isinstance(one, dict) else one for one in value]  # noqa: PLW2901 (as above)
        if not (value is None or value is False or value in ("", [], {})):  # a rating of 0 is said
            spoken[name] = value
    return spoken


def _camera(frame: PlannedFrame, rendition: Rendition) -> dict[str, Any] | None:
    """Return the camera facts that the files state, fractions as "1/60"; None where the policy wants none."""
    if rendition.policy != "full":
        return None
    values = {name: getattr(frame.header.camera, name) for name in _CAMERA}
    return {name: str(value) if isinstance(value, Fraction) else value for name, value in values.items() if value}


def _settings(settings: PixelSettings) -> dict[str, Any]:
    """Return the settings, an ICC profile of the job's by its digest."""
    return asdict(settings) | {"icc_profile": _profile_digest(settings) if settings.icc_profile else None}


@cache
def _profile_digest(settings: PixelSettings) -> str:
    """Return the digest of the ICC profile that the files of a target embed."""
    own = hashlib.sha256(settings.icc_profile).hexdigest() if settings.icc_profile is not None else ""
    return known_text(
        "digest of an ICC profile", f"{settings.colour} {settings.intent} {own}", partial(_embedded, settings)
    )


def _embedded(settings: PixelSettings) -> str:
    from pipeline.render.output_profile import icc_profile_of, space_of  # noqa: PLC0415 (numpy, for one digest)

    return hashlib.sha256(icc_profile_of(space_of(settings))).hexdigest()
