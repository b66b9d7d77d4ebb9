"""What the record keeps of one delivery: enough to say years later what was sent, to whom, and on which terms."""

from __future__ import annotations

from importlib.metadata import version
from typing import TYPE_CHECKING, Any

from pipeline.deliver.pack.deliveries import SentFile, SentLicence, SentRound, SentVerdict

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from pipeline.deliver.pack.archive import Member
    from pipeline.deliver.pack.contact_sheet import ContactSheet
    from pipeline.deliver.pack.deliveries import SentZip
    from pipeline.deliver.pack.listing import Listed, Listing


def row_content(
    now: datetime,
    to: str,
    only: str | None,
    listing: Listing,
    sheet: ContactSheet | None,
    sent: SentZip,
    pictures: Sequence[Member],
    overridden: Sequence[str],
) -> dict[str, Any]:
    """Return a row as `deliveries.append` takes it. `now` is aware; `pictures` are the files as they were packed."""
    picture_of = {file.sha256: file.picture_sha256 for one in listing.chosen for file in one.files}
    round_ = SentRound(id=sheet.round_id, number=sheet.round_number) if sheet else None
    return {
        "date": now.isoformat(timespec="seconds"),
        "to": to,
        "shoot": listing.title,
        "outlet": listing.outlet,
        "only": only and only.encode("utf-8", "replace").decode(),  # what was typed need not be UTF-8
        "round": round_.model_dump() if round_ else None,
        "zip": sent.model_dump(),
        "files": [
            SentFile(
                path=one.name, sha256=one.sha256, picture_sha256=picture_of.get(one.sha256), bytes=one.size
            ).model_dump()
            for one in pictures
        ],
        "licences": [licence.model_dump(exclude_none=True) for licence in _licences(listing)],
        "verdicts": [verdict.model_dump() for verdict in _verdicts(listing)],
        "overridden": list(overridden),
        "plateline": version("plateline"),
    }


def _licences(listing: Listing) -> Iterator[SentLicence]:
    """Give each set of terms once, with the renditions that it is for."""
    names: dict[SentLicence, list[str]] = {}
    for one in listing.chosen:
        names.setdefault(_licence(one), []).append(one.name)
    yield from (licence.model_copy(update={"renditions": tuple(of)}) for licence, of in names.items())


def _licence(one: Listed) -> SentLicence:
    facts = one.facts
    return SentLicence(
        renditions=(),
        url=facts.licence_url if facts else None,
        terms=facts.usage_terms if facts else None,
        acquire_url=facts.acquire_url if facts else None,
        copyright=facts.copyright if facts else None,
        credit_line=facts.credit_line if facts else None,
        not_before=one.not_before,
        ends=one.licence_ends,
    )


def _verdicts(listing: Listing) -> Iterator[SentVerdict]:
    for one in listing.chosen:
        for said in one.approvals:
            yield SentVerdict(
                rendition=one.name, verdict="approve", reviewer=said.reviewer, date=said.date, round=said.round
            )
