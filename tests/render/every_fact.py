"""A picture about which everything is said that files can carry, with words that are easily broken."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.plan.facts import Contact, Contributor, PictureFacts, Translation

if TYPE_CHECKING:
    from pipeline.plan.facts import Policy

POLICIES: tuple[Policy, ...] = ("public", "full", "proof")

FACTS = PictureFacts(
    language="en",
    title="Crème de tomate 🍅",
    headline="One pot, <three> “beans”",
    description='Soup & bread; "hot", <fresh>\nमसूर की दाल',
    alt="A bowl of soup, cre\u0300me on top 🥣",  # not in NFC, and to stay so
    long_alt="From above: a white bowl; שלום",
    creators=("Ana Exämple", "Bo; 李", '"Cy" Dee'),
    creator_title="Photographer, côté cuisine",
    contact=Contact("Étage 3\n1 Lane", "Town", "Länd", "0042", "Nowhere", "+00 1", "ana@kitchen.example", "https://kitchen.example"),
    credit_line="Ana Exämple / Küche & more than thirty-two octets",
    copyright="© 2026 Ana Exämple",
    owner="Küche GmbH",
    licence_url="https://kitchen.example/licence?a=1&b=é",
    licensor="Ana's desk",
    acquire_url="https://kitchen.example/buy?a=1&b=é",
    usage_terms="Ask first. Für Zeitungen frei.",
    keywords=("soup", "crème", "שוק", "a, b", "k" * 70),
    date_created="2026-09-12T10:24:31.25+02:00",
    source="Küche",
    job_id="2026-37/é",
    instructions="Not before the fair",
    caption_writer="B. Ö.",
    contributors=(Contributor("Dö", "cook"), Contributor("Eve", "stylist & props")),
    digital_source="digitalCreation",
    not_before="2026-10-01T09:00:00+02:00",
    licence_ends="2027-09-30T23:59:59-05:00",
    rating=4,
    translations=(
        Translation("fr", "Soupe", "Une soupe", "Un bol", "Vu d'en haut"),
        Translation("de-AT", None, "Suppe", "Eine Schüssel", None),
    ),
)  # fmt: skip
