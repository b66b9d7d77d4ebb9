"""A module whose import fails, as that of one does whose shared library is not there."""

raise OSError("no such library")
