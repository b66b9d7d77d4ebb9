"""Links between what lies below one folder. Where that folder is, or whether it is still there, has no say in them."""

from __future__ import annotations


def relative(path: str, page: str) -> str:
    """Return the link to `path` from the page at `page`, both below one folder, with "/" between their parts."""
    parts, folders = path.split("/"), page.split("/")[:-1]
    shared = 0
    while shared < min(len(parts) - 1, len(folders)) and parts[shared] == folders[shared]:
        shared += 1
    return "/".join([".."] * (len(folders) - shared) + parts[shared:])
