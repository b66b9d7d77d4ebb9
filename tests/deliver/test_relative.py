"""Links between files below one folder, held against the standard library's way to write them."""

from __future__ import annotations

import posixpath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.deliver.relative import relative

paths = st.lists(st.sampled_from(["a", "b", "ab", "soup.jpg"]), min_size=1, max_size=5).map("/".join)


@given(paths, paths)
def test_it_is_what_the_standard_library_says(path: str, page: str) -> None:
    folder = posixpath.dirname(page)
    if path != folder and not folder.startswith(f"{path}/"):  # a file is no folder
        assert relative(path, page) == posixpath.relpath(f"/{path}", f"/{folder}")


@pytest.mark.parametrize(
    ("path", "page", "link"),
    [
        ("blog/soup.jpg", "sheet.html", "blog/soup.jpg"),
        ("blog/soup.jpg", "web/index.html", "../blog/soup.jpg"),
        ("web/a/soup.jpg", "web/index.html", "a/soup.jpg"),
        ("web/soup.jpg", "web/a/index.html", "../soup.jpg"),
    ],
)
def test_links_as_they_are_read(path: str, page: str, link: str) -> None:
    assert relative(path, page) == link
