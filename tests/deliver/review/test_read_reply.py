"""Files that come from a reviewer, or by mistake: what they are is found before what they say."""

from __future__ import annotations

import gzip
import io
import os
import resource
import zipfile
from typing import TYPE_CHECKING

import pytest
from PIL import Image

from pipeline.deliver.review.read_reply import LONGEST_FILE, kept_reply, read_replies_of
from pipeline.deliver.review.reply_file import Reply
from tests.deliver.review.answers import json_of, reply, text_of

if TYPE_CHECKING:
    from pathlib import Path


def faults(path: Path) -> list[str]:
    return [str(one) for one in read_replies_of(path, "answer")]


def test_a_file_and_a_text_say_the_same_whatever_they_are_called(tmp_path: Path) -> None:
    (tmp_path / "reply.bin").write_bytes(json_of(reply()))
    (tmp_path / "reply.json").write_text(text_of(reply()), encoding="utf-8")
    (of_json,) = read_replies_of(tmp_path / "reply.bin", "a")
    (of_text,) = read_replies_of(tmp_path / "reply.json", "b")
    assert isinstance(of_json, Reply)
    assert isinstance(of_text, Reply)
    assert of_json.model_dump(exclude={"frames"}) == of_text.model_dump(exclude={"frames"})


@pytest.mark.parametrize("before", [b"\xef\xbb\xbf", b"\r\n  ", b""])
def test_a_byte_order_mark_and_blank_lines_are_passed_over(tmp_path: Path, before: bytes) -> None:
    (tmp_path / "reply.json").write_bytes(before + json_of(reply()))
    assert isinstance(read_replies_of(tmp_path / "reply.json", "answer")[0], Reply)


def test_words_in_every_script_are_read(tmp_path: Path) -> None:
    (tmp_path / "reply.json").write_bytes(json_of(reply(reviewer="日本 ע Ж é 👩\u200d🍳")))
    (found,) = read_replies_of(tmp_path / "reply.json", "answer")
    assert isinstance(found, Reply)
    assert found.reviewer == "日本 ע Ж é 👩\u200d🍳"


def test_a_file_of_200_mb_is_refused_and_nothing_of_it_read(tmp_path: Path) -> None:
    path = tmp_path / "reply.json"
    with path.open("wb") as stream:
        stream.truncate(200_000_000)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    (said,) = faults(path)
    assert said == (
        "answer: it has 200.0 MB, and no reply has more than 2 MB; "
        "name the reply itself: the file that the reviewer saved, or the text that she copied"
    )
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 50_000, "kB"


def test_the_largest_file_that_is_read_and_one_byte_more(tmp_path: Path) -> None:
    data = json_of(reply())
    (tmp_path / "most").write_bytes(data + b" " * (LONGEST_FILE - len(data)))
    (tmp_path / "more").write_bytes(data + b" " * (LONGEST_FILE - len(data) + 1))
    assert isinstance(read_replies_of(tmp_path / "most", "answer")[0], Reply)
    assert "it has 2.0 MB, and no reply has more than 2 MB" in faults(tmp_path / "more")[0]


def zipped() -> bytes:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        archive.writestr("reply.json", json_of(reply()))
    return data.getvalue()


def jpeg() -> bytes:
    data = io.BytesIO()
    Image.new("RGB", (8, 8)).save(data, "jpeg")
    return data.getvalue()


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (zipped(), "this is a zip file"),
        (jpeg(), "this is a picture"),
        (gzip.compress(b"x", mtime=0), "this is a compressed file"),
        (b"%PDF-1.7\n", "this is a PDF"),
        (b"<!DOCTYPE html><html></html>", "this is a web page"),
        (b"\n<HTML>", "this is a web page"),
        (b"Hello, all is well. Ines", "this is no reply"),
        (b"", "it is empty"),
        (b"\xef\xbb\xbf \n", "it is empty"),
        (json_of(reply(reviewer="caf\xe9")).decode().encode("latin-1"), "it is not text in UTF-8"),
        (json_of(reply()).decode().encode("utf-16"), "it is not text in UTF-8"),
        (b"45e1baa4ccca97892583d47c78435969" + b"\xff\xfe", "it is not text in UTF-8"),
    ],
)
def test_what_is_no_reply(tmp_path: Path, data: bytes, found: str) -> None:
    (tmp_path / "reply.json").write_bytes(data)
    (said,) = faults(tmp_path / "reply.json")
    assert f"{found}; " in said
    assert said.startswith("answer: ")


def test_a_web_page_that_quotes_a_reply_is_read_as_text(tmp_path: Path) -> None:
    (tmp_path / "mail.html").write_text(f"<!doctype html><pre>\n{text_of(reply())}</pre>", encoding="utf-8")
    assert isinstance(read_replies_of(tmp_path / "mail.html", "answer")[0], Reply)


@pytest.mark.parametrize(
    ("make", "found"),
    [
        (lambda path: path.mkdir(), "this is a folder"),
        (os.mkfifo, "this is a device or a pipe, not a file"),
        (lambda path: path.symlink_to("/dev/zero"), "this is a device or a pipe, not a file"),
        (lambda path: path.symlink_to("nowhere"), "there is no such file"),
        (lambda path: path.symlink_to(path.name), "it cannot be read (too many levels of symbolic links)"),
        (lambda _: None, "there is no such file"),
    ],
)
def test_what_is_no_file(tmp_path: Path, make: object, found: str) -> None:
    make(tmp_path / "reply.json")  # type: ignore[operator]
    (said,) = faults(tmp_path / "reply.json")
    assert said.startswith(f"answer: {found}; ")


def test_a_link_to_a_reply_is_followed(tmp_path: Path) -> None:
    (tmp_path / "downloads").write_bytes(json_of(reply()))
    (tmp_path / "reply.json").symlink_to("downloads")
    assert isinstance(read_replies_of(tmp_path / "reply.json", "answer")[0], Reply)


def test_a_name_that_no_file_can_have(tmp_path: Path) -> None:
    assert "it cannot be read (" in faults(tmp_path / "a\0b")[0]


def test_a_reply_that_was_kept_is_json_alone(tmp_path: Path) -> None:
    (tmp_path / "kept.json").write_bytes(json_of(reply()))
    assert isinstance(kept_reply(tmp_path / "kept.json", "kept"), Reply)
    for data in (text_of(reply()).encode(), b"\xff", b""):
        (tmp_path / "kept.json").write_bytes(data)
        assert isinstance(kept_reply(tmp_path / "kept.json", "kept"), list)
