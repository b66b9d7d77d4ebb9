"""The manifest that goes with a zip: one outlet's part, for whoever gets it.

It names no frame's file, no other outlet, no caution and no crop; `plateline verify` reads it as it reads hers.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from pipeline.deliver.verify.delivered import FORMATS

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from pipeline.deliver.pack.contact_sheet import ContactSheet
    from pipeline.deliver.pack.listing import Listed, Listing

_OF_A_RENDITION = (
    "frame", "target", "about", "not_before", "licence_ends", "metadata", "settings", "facts", "camera",
    "icc_profile_sha256",
)  # fmt: skip


def shared_manifest(
    listing: Listing, packed: Collection[str], sheet: ContactSheet | None, overridden: Sequence[str]
) -> bytes:
    """Return the manifest of the files whose paths are `packed`; the same for the same content."""
    document = {
        "manifest": FORMATS[-1],
        "title": listing.title,
        "slug": listing.slug,
        "date": listing.date,
        "language": listing.language,
        "sponsor": listing.sponsor.model_dump() if listing.sponsor else None,
        "outlet": listing.outlet,
        "round": {"id": sheet.round_id, "number": sheet.round_number} if sheet else None,
        "packed_although": list(overridden),
        "renditions": [_rendition(one, packed) for one in listing.chosen],
    }
    return (json.dumps(document, ensure_ascii=False, indent=1) + "\n").encode()


def _rendition(one: Listed, packed: Collection[str]) -> dict[str, Any]:
    said = one.model_dump(mode="json", include=set(_OF_A_RENDITION), exclude_defaults=True)
    files = [file.model_dump(mode="json") for file in one.files if file.path in packed]
    return {**{name: said[name] for name in _OF_A_RENDITION}, "files": files}
