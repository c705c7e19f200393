"""FTP over TLS (RFC 4217): names, passwords and files all travel encrypted, and the host's certificate is checked."""

from __future__ import annotations

import ftplib
import posixpath
import re
import socket
import ssl
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import BinaryIO

from archive.errors import PublishError
from archive.publishing.address import Address
from archive.publishing.connection_pool import FolderListing, PooledPlace
from archive.publishing.credentials import Login
from archive.site_tree.place import ConnectionDropped, FileMissing
from archive.site_tree.tree import PART_SUFFIX

__all__ = ["ftps_place"]

_PORT, _TIMEOUT_S, _BLOCK_BYTES = 21, 60, 1 << 18
# Shared hosts often allow no more than two connections of one user.
_LANES = 2
_NO_FOLDER = ("550", "501", "450")  # hosts differ in what they say of a folder that is not there

# A line of LIST as nearly every host without MLSD writes it: rights, links, owner, group, size, date, name.
_LIST_LINE = re.compile(r"([-dl])\S{9}\S*\s+\d+\s+\S+\s+\S+\s+(\d+)\s+\S+\s+\S+\s+\S+ (.+)")


def ftps_place(address: Address, login: Login) -> PooledPlace:
    """Return a folder behind FTP with TLS; the environment's SSL_CERT_FILE names further authorities to trust."""
    return PooledPlace(address.name, lambda: _FtpsConnection(address, login), connections=_LANES)


class _TlsSessionKept(ftplib.FTP_TLS):
    """Data connections take up the control connection's TLS session, which many hosts demand."""

    def ntransfercmd(self, cmd: str, rest: int | str | None = None) -> tuple[socket.socket, int | None]:
        connection, size = ftplib.FTP.ntransfercmd(self, cmd, rest)
        session = self.sock.session if isinstance(self.sock, ssl.SSLSocket) else None
        return self.context.wrap_socket(connection, server_hostname=self.host, session=session), size


class _FtpsConnection:
    """One login."""

    def __init__(self, address: Address, login: Login) -> None:
        self._name = address.name
        home, _, below_home = address.path.partition("/~/")
        self._root = address.path.rstrip("/") if home or not below_home else below_home.strip("/")
        self._ftp = _TlsSessionKept(timeout=_TIMEOUT_S, context=ssl.create_default_context(), encoding="utf-8")
        self._facts: bool | None = None
        self._binary = False
        try:
            with self._faults():
                self._ftp.connect(address.host, address.port or _PORT)
                self._ftp.auth()
                self._log_in(login)
                self._ftp.prot_p()
                self._root = posixpath.join(self._ftp.pwd(), self._root)
        except BaseException:
            self._ftp.close()
            raise

    def _log_in(self, login: Login) -> None:
        try:
            self._ftp.login(login.user or "anonymous", login.password or "", secure=False)
        except ftplib.error_perm as error:
            raise PublishError(
                f"{self._name}: the host refused the login of {login.user or 'anonymous'} ({_reply(error)}); "
                "check the user in the URL and NORTHLIMB_PASSWORD or ~/.netrc"
            ) from None

    def chunks(self, name: str) -> Iterator[bytes]:
        with self._faults(name, may_miss=True):
            self._as_it_is()
            stream = self._ftp.transfercmd(f"RETR {self._path(name)}")
            with stream:
                while block := stream.recv(_BLOCK_BYTES):
                    yield block
            self._ftp.voidresp()

    def put(self, name: str, source: BinaryIO, size: int) -> None:
        part = posixpath.join(posixpath.dirname(name), f".{posixpath.basename(name)}{PART_SUFFIX}")
        with self._faults(name):
            self._as_it_is()
            self._with_folders(part, lambda: self._store(part, source))
            if self._ftp.size(self._path(part)) not in (None, size):
                raise ConnectionDropped(f"{name} arrived in part")
            self._rename(part, name)

    def _as_it_is(self) -> None:
        """Files travel byte for byte; lists of names put the line into text mode."""
        if not self._binary:
            self._ftp.voidcmd("TYPE I")
            self._binary = True

    def _store(self, name: str, source: BinaryIO) -> None:
        source.seek(0)
        with self._ftp.transfercmd(f"STOR {self._path(name)}") as stream:
            while block := source.read(_BLOCK_BYTES):
                stream.sendall(block)
            with suppress(OSError):  # hosts that hang up without a word; the size tells whether all arrived
                if isinstance(stream, ssl.SSLSocket):
                    stream.unwrap()
        self._ftp.voidresp()

    def _rename(self, part: str, name: str) -> None:
        try:
            self._ftp.rename(self._path(part), self._path(name))
        except ftplib.error_perm:  # some hosts rename over nothing only; the file is then missing for an instant
            self._ftp.delete(self._path(name))
            self._ftp.rename(self._path(part), self._path(name))

    def _with_folders(self, name: str, store: Callable[[], None]) -> None:
        """Store a file; where that is refused make its folders, one level a step, and try again."""
        try:
            store()
        except ftplib.error_perm as error:
            if not _reply(error).startswith(("550", "553")):
                raise
            steps = self._path(posixpath.dirname(name)).split("/")
            for end in range(1 + (not steps[0]), len(steps) + 1):
                with suppress(ftplib.error_perm):  # it is there
                    self._ftp.mkd("/".join(steps[:end]))
            store()

    def delete(self, name: str) -> None:
        with self._faults(name):
            try:
                self._ftp.delete(self._path(name))
            except ftplib.error_perm:
                if self._is_there(name):
                    raise

    def _is_there(self, name: str) -> bool:
        self._as_it_is()
        try:
            return self._ftp.size(self._path(name)) is not None
        except ftplib.error_perm:
            return False

    def remove_folder(self, folder: str) -> None:
        with self._faults(), suppress(ftplib.error_perm):  # not empty
            self._ftp.rmd(self._path(folder))

    def list_folder(self, folder: str) -> FolderListing:
        with self._faults():
            self._binary = False
            try:
                entries = list(self._by_facts(folder) if self._knows_facts() else self._by_lines(folder))
            except ftplib.error_perm as error:
                if not _reply(error).startswith(_NO_FOLDER):
                    raise
                return FolderListing({})
        files = {posixpath.join(folder, name): size for name, size in entries if size is not None}
        return FolderListing(files, [posixpath.join(folder, name) for name, size in entries if size is None])

    def _knows_facts(self) -> bool:
        """Return whether the host knows MLSD (RFC 3659)."""
        if self._facts is None:
            try:
                self._facts = "MLST" in self._ftp.sendcmd("FEAT").upper()
            except ftplib.error_perm:
                self._facts = False
        return self._facts

    def _by_facts(self, folder: str) -> Iterator[tuple[str, int | None]]:
        for name, facts in self._ftp.mlsd(self._path(folder)):
            kind = facts.get("type", "").lower()
            if kind == "dir":
                yield name, None
            elif kind not in ("cdir", "pdir"):
                yield name, int(facts.get("size", -1))

    def _by_lines(self, folder: str) -> Iterator[tuple[str, int | None]]:
        lines: list[str] = []
        self._ftp.cwd(self._path(folder))  # many hosts take no folder after -a, which shows names with a dot in front
        self._ftp.retrlines("LIST -a", lines.append)
        for line in lines:
            if (found := _LIST_LINE.fullmatch(line)) and found[3] not in (".", ".."):
                yield found[3], None if found[1] == "d" else int(found[2])

    def close(self) -> None:
        self._ftp.close()

    def _path(self, name: str) -> str:
        return posixpath.join(self._root, name) if name else self._root

    @contextmanager
    def _faults(self, name: str = "", *, may_miss: bool = False) -> Iterator[None]:
        """The library's faults in the words of this program."""
        where = f"{self._name}: {name}" if name else self._name
        try:
            yield
        except ssl.SSLCertVerificationError as error:
            raise PublishError(
                f"{self._name}: the host's certificate is not trusted ({error.verify_message}); "
                "name its authority in SSL_CERT_FILE, or ask the host for a valid one"
            ) from None
        except ftplib.error_temp as error:
            if _reply(error).startswith("452"):
                raise PublishError(f"{where}: the host has no room ({_reply(error)}); free some there") from None
            raise ConnectionDropped(_reply(error)) from None
        except ftplib.error_perm as error:
            reply = _reply(error)
            if reply.startswith("550") and may_miss:
                raise FileMissing(name) from None
            advice = "free some room there" if reply.startswith("552") else "check path and rights at the host"
            raise PublishError(f"{where}: the host refused ({reply}); {advice}") from None
        except socket.gaierror as error:
            raise PublishError(f"{self._name}: no such host ({error.strerror}); check the URL") from None
        except (OSError, EOFError, ftplib.Error) as error:
            raise ConnectionDropped(str(error) or "closed by the host") from None
        except ValueError:  # the library lets no line break into a command
            raise PublishError(f"{where}: the name holds a line break or is no text; rename the file") from None


def _reply(error: Exception) -> str:
    return " ".join(str(error).split())
