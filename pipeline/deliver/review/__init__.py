"""The review: what a sheet showed, what reviewers said of it, and what follows for the next export."""
