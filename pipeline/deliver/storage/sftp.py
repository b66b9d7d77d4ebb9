"""SFTP as fsspec speaks it, to hosts alone that this machine knows: an unknown host key is refused, never taken on."""

from __future__ import annotations

from typing import Any
from urllib.parse import unquote, urlsplit

import paramiko
from fsspec.implementations.sftp import SFTPFileSystem


class KnownHosts(SFTPFileSystem):  # type: ignore[misc]  # it ships no types
    """A connection to a host of `~/.ssh/known_hosts`; keys of `~/.ssh` and of the agent are tried as `ssh` does."""

    cachable = False

    def _connect(self) -> None:
        self.client = paramiko.SSHClient()
        self.client.load_system_host_keys()
        self.client.set_missing_host_key_policy(paramiko.RejectPolicy())
        self.client.connect(self.host, **self.ssh_kwargs)
        self.ftp = self.client.open_sftp()


def connected(url: str, within_s: float) -> tuple[KnownHosts, str]:
    """Return a connection to the host of an address, and the path on it. Raises what paramiko raises."""
    parts = urlsplit(url)
    words: dict[str, Any] = {"timeout": within_s, "banner_timeout": within_s, "auth_timeout": within_s}
    if parts.port:
        words["port"] = parts.port
    if parts.username:
        words["username"] = unquote(parts.username)
    if parts.password:
        words["password"] = unquote(parts.password)
    return KnownHosts(parts.hostname or "", **words), unquote(parts.path)
