"""The names in an output folder that an export keeps for itself: the only place where they are written."""

from __future__ import annotations

SHEET_FOLDER, WEB_FOLDER, SET_ASIDE = "sheet", "web", "set-aside"
# What begins the name of an outlet's own contact sheet.
FOR_OUTLET = "for-"
# Replies stand beside the job; that is the output folder itself where a job exports to its own folder.
REPLIES = "replies"
MANIFEST, LOCK, LEDGER = "manifest.json", ".exporting", "ledger.sqlite"
# What stands beside the pictures in a zip that was sent.
CREDIT, SUMS = "credit-and-terms.txt", "SHA256SUMS"
KEPT_FOLDERS = (SHEET_FOLDER, WEB_FOLDER, SET_ASIDE, REPLIES)
KEPT_FILES = (MANIFEST, LOCK, LEDGER, f"{LEDGER}-wal", f"{LEDGER}-shm", f"{LEDGER}-journal")
