"""SFTP, with the user's own keys, agent, ~/.ssh/config and list of known hosts."""

from __future__ import annotations

import logging
import posixpath
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path
from stat import S_ISDIR
from typing import TYPE_CHECKING, BinaryIO

from archive.errors import PublishError
from archive.publishing.address import Address
from archive.publishing.connection_pool import FolderListing, PooledPlace
from archive.publishing.credentials import Login
from archive.site_tree.place import ConnectionDropped, FileMissing
from archive.site_tree.tree import PART_SUFFIX

if TYPE_CHECKING:
    import paramiko

__all__ = ["sftp_place"]

# A host that runs OpenSSH grants ten channels on one connection unless told otherwise.
_LANES = 4
_TIMEOUT_S, _BLOCK_BYTES = 30.0, 1 << 18
_KNOWN_HOSTS = "~/.ssh/known_hosts /etc/ssh/ssh_known_hosts"


def sftp_place(address: Address, login: Login) -> PooledPlace:
    """Return a folder behind SFTP; `~` at the path's start is the home folder there."""
    session = _Session(address, login)
    return PooledPlace(address.name, lambda: _SftpConnection(session), connections=_LANES, on_close=session.close)


class _Session:
    """One login, whose channels are used side by side; made anew when it has dropped."""

    def __init__(self, address: Address, login: Login) -> None:
        self.name = address.name
        self.root = address.path[3:] or "." if address.path.startswith("/~/") else address.path.rstrip("/")
        self._address, self._login = address, login
        self._guard = threading.Lock()
        self._client: paramiko.SSHClient | None = None

    def channel(self) -> paramiko.SFTPClient:
        with self._guard, _faults_told(self.name):
            transport = self._client.get_transport() if self._client else None
            if self._client is None or transport is None or not transport.is_active():
                self._client = self._logged_in()
            channel = self._client.open_sftp()
            found = channel.get_channel()
            if found is not None:
                found.settimeout(_TIMEOUT_S)
            return channel

    def close(self) -> None:
        if self._client is not None:
            self._client.close()

    def _logged_in(self) -> paramiko.SSHClient:
        import paramiko

        logging.getLogger("paramiko").addHandler(logging.NullHandler())  # faults are told in one line, by us
        client = paramiko.SSHClient()
        known = _ssh_config(self._address.host)
        for path in known.get("userknownhostsfile", _KNOWN_HOSTS).split():
            if Path(path).expanduser().is_file():
                client.load_system_host_keys(str(Path(path).expanduser()))
        client.set_missing_host_key_policy(paramiko.RejectPolicy())
        proxy = known.get("proxycommand") or _jump(known, self._address.port)
        client.connect(
            known.get("hostname", self._address.host),
            port=self._address.port or int(known.get("port", 22)),
            username=self._login.user or known.get("user"),
            password=self._login.password,
            key_filename=known.get("identityfile"),
            sock=paramiko.ProxyCommand(proxy) if proxy else None,
            timeout=_TIMEOUT_S,
            banner_timeout=_TIMEOUT_S,
            auth_timeout=_TIMEOUT_S,
        )
        transport = client.get_transport()
        if transport is not None:
            transport.set_keepalive(15)
        return client


def _ssh_config(host: str) -> dict[str, str]:
    """Return the options of a host in ~/.ssh/config."""
    import paramiko

    path = Path("~/.ssh/config").expanduser()
    config = paramiko.SSHConfig.from_path(str(path)) if path.is_file() else paramiko.SSHConfig()
    return dict(config.lookup(host))


def _jump(known: dict[str, str], port: int | None) -> str | None:
    """Return the command for a host behind another one; the library itself does not know ProxyJump."""
    by = known.get("proxyjump", "none")
    if by == "none":
        return None
    *first, last = by.split(",")
    through = f"-J {','.join(first)} " if first else ""
    return f"ssh {through}-W {known['hostname']}:{port or known.get('port', 22)} {last}"


class _SftpConnection:
    """One channel."""

    def __init__(self, session: _Session) -> None:
        self._session = session
        self._sftp = session.channel()

    def chunks(self, name: str) -> Iterator[bytes]:
        with self._faults(name, may_miss=True), self._sftp.open(self._path(name), "rb") as stream:
            size = stream.stat().st_size
            stream.prefetch(size)
            while block := stream.read(_BLOCK_BYTES):
                yield block

    def put(self, name: str, source: BinaryIO, size: int) -> None:
        part = posixpath.join(posixpath.dirname(name), f".{posixpath.basename(name)}{PART_SUFFIX}")
        with self._faults(name):
            self._with_folders(part, lambda: self._store(part, source))
            if self._sftp.stat(self._path(part)).st_size != size:
                raise ConnectionDropped(f"{name} arrived in part")
            self._rename(self._path(part), self._path(name))

    def _store(self, name: str, source: BinaryIO) -> None:
        source.seek(0)
        with self._sftp.open(self._path(name), "wb") as stream:
            stream.set_pipelined(True)  # no waiting for an answer to each block
            while block := source.read(_BLOCK_BYTES):
                stream.write(block)

    def _rename(self, part: str, name: str) -> None:
        try:
            self._sftp.posix_rename(part, name)
        except (FileNotFoundError, PermissionError):
            raise
        except OSError:
            # A host without that extension renames over nothing only; the file is then missing for an instant.
            with suppress(FileNotFoundError):
                self._sftp.remove(name)
            self._sftp.rename(part, name)

    def _with_folders(self, name: str, store: Callable[[], None]) -> None:
        try:
            store()
        except FileNotFoundError:
            self._make_folder(self._path(posixpath.dirname(name)))
            store()

    def _make_folder(self, path: str) -> None:
        """Make a folder and those above it; another lane may have been quicker."""
        try:
            self._sftp.mkdir(path)
        except FileNotFoundError:
            self._make_folder(posixpath.dirname(path))
            self._make_folder(path)
        except OSError:
            if not S_ISDIR(self._sftp.stat(path).st_mode or 0):
                raise

    def delete(self, name: str) -> None:
        with self._faults(name), suppress(FileNotFoundError):
            self._sftp.remove(self._path(name))

    def remove_folder(self, folder: str) -> None:
        with self._faults(folder), suppress(OSError):  # not empty
            self._sftp.rmdir(self._path(folder))

    def list_folder(self, folder: str) -> FolderListing:
        files, folders = {}, []
        with self._faults(folder), suppress(FileNotFoundError):
            for entry in self._sftp.listdir_attr(self._path(folder)):
                name = posixpath.join(folder, entry.filename)
                if S_ISDIR(entry.st_mode or 0):
                    folders.append(name)
                else:
                    files[name] = -1 if entry.st_size is None else entry.st_size
        return FolderListing(files, folders)

    def close(self) -> None:
        self._sftp.close()

    def _path(self, name: str) -> str:
        return posixpath.join(self._session.root, name) if name else self._session.root

    def _faults(self, name: str, *, may_miss: bool = False) -> AbstractContextManager[None]:
        return _faults_told(self._session.name, name, may_miss=may_miss)


@contextmanager
def _faults_told(place: str, name: str = "", *, may_miss: bool = False) -> Iterator[None]:
    """The library's faults in the words of this program."""
    import paramiko

    where = f"{place}: {name}" if name else place
    try:
        yield
    except paramiko.BadHostKeyException:
        raise PublishError(
            f"{place}: the host shows another key than before: someone may listen; ask the host, then mend known_hosts"
        ) from None
    except paramiko.AuthenticationException as error:
        raise PublishError(
            f"{place}: the host refused the login ({error}); check user, keys and agent, or NORTHLIMB_PASSWORD"
        ) from None
    except paramiko.SSHException as error:
        if "known_hosts" in str(error):
            raise PublishError(
                f"{place}: the host's key is not in known_hosts; log in once with `sftp`, compare the key and accept it"
            ) from None
        raise ConnectionDropped(str(error)) from None
    except FileNotFoundError as error:
        if may_miss:
            raise FileMissing(name) from None
        raise PublishError(f"{where}: {error.strerror or error}; check the path at the host") from None
    except PermissionError as error:
        raise PublishError(f"{where}: the host refused ({error.strerror or error}); check rights there") from None
    except socket.gaierror as error:
        raise PublishError(f"{place}: no such host ({error.strerror}); check the URL") from None
    except (EOFError, ConnectionError, TimeoutError, paramiko.ssh_exception.NoValidConnectionsError) as error:
        raise ConnectionDropped(str(error) or "closed by the host") from None
    except OSError as error:
        if error.errno is None and str(error) == "Socket is closed":
            raise ConnectionDropped(str(error)) from None
        reason = error.strerror or str(error)
        raise PublishError(f"{where}: the host could not do it ({reason}); is its disk or quota full?") from None
