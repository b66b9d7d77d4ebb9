"""A manifest of one outlet as an export would write it, and what a pack reads of it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from pipeline.deliver.pack.listing import Listing, read_listing

if TYPE_CHECKING:
    from pathlib import Path

SHA = "0" * 64
KEY = "1" * 32


def rendition(frame: str = "bowl", target: str = "partner/final", **more: Any) -> dict[str, Any]:  # noqa: ANN401
    """Return a rendition of one file."""
    name = f"{frame}-{target.replace('/', '-')}"
    return {
        "frame": frame,
        "target": target,
        "about": "Full size",
        "picture_key": KEY,
        "needs_approval": False,
        "approvals": [],
        "not_before": None,
        "licence_ends": None,
        "metadata": "full",
        "settings": {"colour": "srgb"},
        "facts": {"language": "en", "title": "Bean soup", "alt": "A bowl"},
        "camera": None,
        "icc_profile_sha256": SHA,
        "refused": None,
        "files": [
            {
                "path": f"partner/{name}.jpg",
                "sha256": SHA,
                "picture_sha256": SHA,
                "bytes": 5,
                "size": [300, 200],
                "format": "jpeg",
                "ppi": 72.0,
            }
        ],
        **more,
    }


def manifest(*renditions: dict[str, Any], **more: Any) -> dict[str, Any]:  # noqa: ANN401
    """Return a manifest of these renditions, of one where there are none."""
    return {
        "manifest": 3,
        "job": "job.toml",
        "title": "Bean soup",
        "slug": "bean-soup",
        "date": "2026-09-12",
        "language": "en",
        "sponsor": None,
        "renditions": list(renditions) or [rendition()],
        **more,
    }


def listing(folder: Path, *renditions: dict[str, Any], only: str | None = None, **more: Any) -> Listing:  # noqa: ANN401
    """Write a manifest below a folder, and return what a pack for the partner reads of it."""
    (folder / "manifest.json").write_text(json.dumps(manifest(*renditions, **more)), encoding="utf-8")
    return read_listing(folder, "partner", only)
