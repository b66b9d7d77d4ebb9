"""Templates of the pages that go out (package data)."""
