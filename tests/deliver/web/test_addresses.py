"""Addresses of files: whole ones on the site, relative ones beside the kit's pages."""

from __future__ import annotations

import posixpath
from urllib.parse import unquote, urljoin, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.deliver.web.addresses import beside, published, whole_address

names = st.text(st.characters(exclude_characters="/\\", exclude_categories=("Cs", "Cc")), min_size=1, max_size=12)
paths = st.lists(names.filter(lambda name: name not in {".", ".."}), min_size=1, max_size=3).map("/".join)


@pytest.mark.parametrize(
    ("base", "expected"),
    [
        ("https://larder.example/soup", "https://larder.example/soup/blog/a%20b.jpg"),
        ("https://larder.example/soup/", "https://larder.example/soup/blog/a%20b.jpg"),
        ("https://larder.example", "https://larder.example/blog/a%20b.jpg"),
        ("https://larder.example/été", "https://larder.example/%C3%A9t%C3%A9/blog/a%20b.jpg"),
        ("https://larder.example/%C3%A9/?a=b#c", "https://larder.example/%C3%A9/blog/a%20b.jpg"),
        ("https://bücher.example/", "https://xn--bcher-kva.example/blog/a%20b.jpg"),  # RFC 3492's usual sample
        (None, "blog/a%20b.jpg"),
        ("pictures/soup", "blog/a%20b.jpg"),
    ],
)
def test_a_published_address_is_the_folder_and_the_path(base: str | None, expected: str) -> None:
    assert expected == published(base)("blog/a b.jpg")


@given(paths)
def test_a_published_address_is_one_word_and_leads_back_to_the_path(path: str) -> None:
    address = published("https://larder.example/soup/")(path)
    assert address.isascii()
    assert len(address.split()) == 1
    assert not address.startswith(",")
    assert f"/soup/{path}" == unquote(urlsplit(address).path)


@given(paths, paths)
def test_an_address_beside_a_page_leads_from_it_to_the_path(page: str, path: str) -> None:
    """As a browser resolves it (RFC 3986, 5.2), from a page of plain letters at the same depth."""
    place = "/".join("p" * (1 + page.count("/"))) + "/index.html"
    reached = urljoin(f"https://out.example/{place}", beside(place)(path))
    assert posixpath.normpath(f"/{path}") == posixpath.normpath(unquote(urlsplit(reached).path))


@pytest.mark.parametrize("path", ["../secret.jpg", "/etc/secret.jpg", "blog/../../secret.jpg", ""])
def test_no_address_leads_out_of_the_output_folder(path: str) -> None:
    for address in (published("https://larder.example/"), published(None), beside("web/index.html")):
        with pytest.raises(ValueError, match="not a path below the output folder"):
            address(path)


@pytest.mark.parametrize(
    "text",
    [
        None,
        "",
        "soup",
        "//larder.example/soup",
        "ftp://larder.example/",
        "javascript:alert(1)",
        "http://[",
        "https:///soup",
    ],
)
def test_what_is_no_whole_web_address(text: str | None) -> None:
    assert whole_address(text) is None


@given(st.text(max_size=20))
def test_a_whole_address_is_ascii_without_blanks_and_quotes(text: str) -> None:
    address = whole_address(f"https://larder.example/{text}")
    assert address is not None
    assert address.isascii()
    assert not set(address) & set(' "<>\\\n\t')
