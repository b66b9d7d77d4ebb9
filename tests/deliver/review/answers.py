"""Replies for the tests: as a page would save them, as JSON and as text."""

from __future__ import annotations

import json
from typing import Any

ROUND = "0123456789abcdef" * 4
PROOF_KEY, FINAL_KEY, STEP_KEY = "a" * 32, "b" * 32, "c" * 32


def spot(*numbers: float) -> dict[str, Any]:
    """Return a point of two numbers, or a box of four."""
    return {"point" if len(numbers) == 2 else "box": list(numbers)}


def rendition(
    name: str = "partner/proof",
    key: str | None = PROOF_KEY,
    verdict: str | None = None,
    note: str = "",
    *spots: Any,  # noqa: ANN401
) -> dict[str, Any]:
    """Return the answer to one rendition."""
    return {"rendition": name, "key": key, "verdict": verdict, "note": note, "spots": list(spots)}


def frame(
    slug: str = "bowl",
    verdict: str | None = None,
    note: str = "",
    spots: tuple[Any, ...] = (),
    *renditions: Any,  # noqa: ANN401
) -> dict[str, Any]:
    """Return the answer to one frame."""
    own = list(renditions) or [rendition()]
    return {"frame": slug, "verdict": verdict, "note": note, "spots": list(spots), "renditions": own}


def reply(*frames: Any, **changed: Any) -> dict[str, Any]:  # noqa: ANN401
    """Return a whole reply; `changed` replaces or adds keys of it."""
    return {
        "plateline_reply": 1,
        "round": ROUND,
        "shoot": "Bean soup",
        "outlet": "partner",
        "reviewer": "Ines Falkenrath",
        "date": "2026-11-25",
        "frames": list(frames) or [frame()],
    } | changed


def text_of(document: dict[str, Any]) -> str:
    """Return a reply as text, written from the description of that form and from nothing else."""
    lines = ["plateline reply 1"]
    round_id = document["round"]
    lines.append("round: " + " ".join(round_id[start : start + 8] for start in range(0, 64, 8)))
    lines.append(f"shoot: {document['shoot']}")
    if document["outlet"]:
        lines.append(f"outlet: {document['outlet']}")
    lines += [f"from: {document['reviewer']}", f"date: {document['date']}"]
    for one in document["frames"]:
        lines.append(f"frame: {one['frame']}")
        lines += _answer(one)
        for own in one["renditions"]:
            lines.append(f"rendition: {own['rendition']}")
            lines += _answer(own)
    return "\n".join([*lines, "end of reply"]) + "\n"


def _answer(answer: dict[str, Any]) -> list[str]:
    words = {"approve": "Approve", "change": "Change", "leave-out": "Leave out"}
    lines = [f"verdict: {words[answer['verdict']]}"] if answer["verdict"] else []
    lines += [f"note: {line}" for line in answer["note"].split("\n") if line]
    for one in answer["spots"]:
        ((kind, numbers),) = one.items()
        lines.append(f"{kind}: {' '.join(f'{number:.2f}' for number in numbers)}")
    return lines


def json_of(document: dict[str, Any]) -> bytes:
    """Return a reply as the file that is saved."""
    return json.dumps(document, ensure_ascii=False).encode()
