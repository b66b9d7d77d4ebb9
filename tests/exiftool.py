"""Exiftool as an outside judge, kept running: to start it takes several times as long as to read a small file."""

from __future__ import annotations

import atexit
import functools
import itertools
import json
import re
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any, cast

import pytest

NO_LINE = re.compile(r"^(#|\s|$)|[\r\n]|=\s")  # its argument files drop comments, and spaces in some places
# Where the tests are killed, it ends too (setpriv of util-linux, on Linux).
WITH_US = ("setpriv", "--pdeathsig", "KILL") if shutil.which("setpriv") else ()


class Refused(Exception):  # noqa: N818 (it says what happened)
    """Exiftool ended a command with an error; holds what it said."""


class _Running:
    """One exiftool that takes commands through its standard input (`-stay_open` of its documentation)."""

    def __init__(self, command: str) -> None:
        self._said = tempfile.TemporaryFile()  # noqa: SIM115 (as long as the process)
        words = [*WITH_US, command, "-stay_open", "True", "-@", "-"]
        self._process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self._said)
        self._numbers = itertools.count(1)

    def __call__(self, *words: str) -> bytes:
        """Return what one command prints. Raises `Refused` where its exit code would not be 0."""
        stdin, stdout = self._process.stdin, self._process.stdout
        if stdin is None or stdout is None:
            raise AssertionError
        number = next(self._numbers)
        self._said.seek(0)
        self._said.truncate()
        for word in (*words, "-echo4", "{code ${status}}", f"-execute{number}"):
            stdin.write(word.encode() + b"\n")
        stdin.flush()
        printed = bytearray()
        ready = f"{{ready{number}}}\n".encode()
        while not printed.endswith(ready):
            line = stdout.readline()
            if not line:
                raise AssertionError("exiftool has ended")
            printed += line
        self._said.seek(0)
        said, _, code = self._said.read().decode(errors="replace").rpartition("{code ")
        if code.strip() != "0}":
            raise Refused(said)
        return bytes(printed.removesuffix(ready))

    def end(self) -> None:
        """Let it end; the end of its input alone would have it wait for more."""
        self._process.communicate(b"-stay_open\nFalse\n")
        self._said.close()


@functools.cache
def _running(command: str, *_used: str) -> _Running:
    running = _Running(command)
    atexit.register(running.end)
    return running


def exiftool_says(*words: str | Path) -> bytes:
    """Return what exiftool prints for options and files; skip where it is not installed.

    A plug-in module (`-use`) stays for all commands after it: those that use one share another process. Words that do
    not survive as lines of a file get a process of their own. Raises `Refused` where exiftool ends with an error.
    """
    command = shutil.which("exiftool")
    if command is None:
        pytest.skip("judge missing: exiftool")
    asked = [str(word.absolute()) if isinstance(word, Path) else word for word in words]
    if not any(map(NO_LINE.search, asked)):
        used = [module for option, module in itertools.pairwise(asked) if option == "-use"]
        return _running(command, *used)(*asked)
    done = subprocess.run([command, *asked], capture_output=True, check=False)
    if done.returncode:
        raise Refused(done.stderr.decode(errors="replace"))
    return done.stdout


def tags_of(path: Path, *options: str) -> dict[str, Any]:
    """Return the tags of one file by `Group:Name`, groups of exiftool's family 1 (`IFD0`, `XMP-dc`)."""
    (tags,) = cast("list[dict[str, Any]]", json.loads(exiftool_says("-json", "-G1", "-struct", *options, path)))
    return tags
