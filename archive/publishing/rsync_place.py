"""The system's rsync over its ssh: the user's keys, agent and ~/.ssh/config hold as they are."""

from __future__ import annotations

import io
import os
import re
import shlex
import tempfile
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from pathlib import Path

from archive.disk import Folder
from archive.errors import PublishError
from archive.publishing.address import Address
from archive.publishing.staging import staged
from archive.publishing.system_tool import ToolAnswer, run_tool
from archive.site_tree.digests import Digest
from archive.site_tree.manifest import Manifest
from archive.site_tree.place import ConnectionDropped, Delivery, FileMissing, with_retries
from archive.site_tree.step_by_step import step_by_step

__all__ = ["RsyncPlace"]

_TIMEOUT_S, _PERSIST_S, _FETCHED_AT_ONCE = 60, 30, 200
_MODES = "--chmod=Du=rwx,Dgo=rx,Fu=rw,Fgo=r"  # a web server must be able to read, whatever the umask
# Exit values of rsync(1): fault in the stream, no answer in time; and of ssh(1), which has no other.
_BROKEN, _SSH_FAULT, _PARTIAL = (10, 12, 30, 35), 255, (23, 24)
_DELETED = (0, 24)  # 24: files asked for are not there, which is the point
_WRONG_LOGIN = ("Permission denied (", "Host key verification failed", "Could not resolve", "Too many authentication")
# A line of the list: rights, size, date, time, name. Bytes that are no letters come as \#ooo.
_LIST_LINE = re.compile(r"([-dlcbps])\S{9}\s+([\d,]+)\s+\S+\s+\S+ (.*)")


class RsyncPlace:
    """A folder at a host with rsync; each batch of files is one run of the program."""

    connections, lists_fast = 1, True
    batch_files, batch_bytes = 500, 64 << 20

    def __init__(self, address: Address) -> None:
        self.name = address.name
        path = address.path.removeprefix("/~/") if address.path.startswith("/~/") else address.path
        at = f"{address.user}@" if address.user else ""
        self._host = at + address.host
        self._remote = f"{at}[{address.host}]:" if ":" in address.host else f"{at}{address.host}:"
        self._remote += path.rstrip("/") + "/"
        self._scratch = tempfile.TemporaryDirectory(prefix="northlimb-")
        # One login for all runs of rsync; where this process is killed ssh hangs up by itself.
        shared = ["ControlMaster=auto", f"ControlPath={self._scratch.name}/ssh", f"ControlPersist={_PERSIST_S}"]
        options = ["BatchMode=yes", *(shared if os.name == "posix" else [])]
        words = [*shlex.split(os.environ.get("RSYNC_RSH") or "ssh"), *(f"-o{option}" for option in options)]
        self._shell = shlex.join([*words, *(["-p", str(address.port)] if address.port else [])])
        self._expected: list[str] = []
        self._root_is_there = True

    def expect(self, names: Sequence[str]) -> None:
        """Files will be fetched so many at once."""
        self._expected = list(names)

    def chunks(self, name: str) -> Iterator[bytes]:
        """Return the bytes of a file, brought to a temporary folder first, together with those expected next."""
        scratch, fetched = Folder(Path(self._scratch.name)), f"fetched/{name}"
        if not scratch.is_file(fetched):
            self._fetch(name)
        if not scratch.is_file(fetched):
            raise FileMissing(name)
        with scratch.open(fetched) as stream:
            while block := stream.read(1 << 18):
                yield block
        scratch.remove(fetched)

    def _fetch(self, name: str) -> None:
        asked = [name]
        if name in self._expected:
            start = self._expected.index(name)
            asked = self._expected[start : start + _FETCHED_AT_ONCE]
        options = ("--ignore-times", "--from0", "--files-from=-")
        answer = self._run(*options, self._remote, f"{self._scratch.name}/fetched/", given=_listed(asked))
        if answer.status not in _PARTIAL and not _no_root(answer):  # some or all are not there
            self._check(answer)

    def sizes(self, folders: Collection[str] | None) -> Mapping[str, int]:
        """Return all files there, in one run."""
        answer = self._run("--recursive", "--list-only", "--no-human-readable", self._remote)
        self._root_is_there = not _no_root(answer)
        if not self._root_is_there:
            return {}
        self._check(answer)
        found: dict[str, int] = {}
        for line in answer.out.decode("utf-8", "surrogateescape").splitlines():
            if (row := _LIST_LINE.fullmatch(line)) and row[1] != "d":
                name = row[3].split(" -> ")[0] if row[1] == "l" else row[3]
                found[_plain(name)] = int(row[2].replace(",", ""))
        return found

    def digests(self, held: Manifest) -> Mapping[str, Digest]:
        """Return what the list of files says."""
        return held.files

    def apply(self, delivery: Delivery) -> None:
        """Change batch by batch."""
        if not self._root_is_there:
            # rsync by itself makes the last level only; asked for only then, for hosts older than 2020 do not know it.
            self._check(self._run("--dirs", "--mkpath", f"{self._scratch.name}/", self._remote))
        step_by_step(self, delivery)

    def put(self, source: Folder, names: Sequence[str]) -> None:
        """Bring files there; rsync writes each under another name and renames it when it is whole."""
        with staged(source, {name: name for name in names}, place=self.name) as folder:
            self._put_all(folder, names)

    def _put_all(self, folder: Path, names: Sequence[str]) -> None:
        self._persist("--checksum", "--times", _MODES, given=_listed(names), source=str(folder))

    def put_bytes(self, name: str, data: bytes) -> None:
        """Bring a file there whose bytes are at hand."""
        with tempfile.TemporaryDirectory(prefix="northlimb-") as made:
            Folder(Path(made)).copy(io.BytesIO(data), name)
            self._put_all(Path(made), [name])

    def delete(self, names: Sequence[str], folders: Sequence[str]) -> None:
        """Remove files, then the folders where they are empty, one level at a time.

        From an empty folder, all that is asked for is missing, and rsync removes it at the other side; without
        --force no folder that holds anything.
        """
        levels = [list(level) for _, level in groupby(folders, key=lambda folder: folder.count("/"))]
        with tempfile.TemporaryDirectory(prefix="northlimb-") as empty:
            for gone in (list(names), *levels):
                self._persist("--delete-missing-args", given=_listed(gone), source=empty, fine=_DELETED)

    def close(self) -> None:
        """Hang up, and remove what was fetched."""
        if os.name == "posix":
            run_tool([*shlex.split(self._shell), "-O", "exit", self._host], place=self.name)
        self._scratch.cleanup()

    def _persist(self, *words: str, given: bytes, source: str, fine: tuple[int, ...] = (0,)) -> None:
        options = ("--from0", "--files-from=-", *words, f"{source}/", self._remote)
        with_retries(lambda: self._check(self._run(*options, given=given), fine=fine), place=self.name)

    def _run(self, *words: str, given: bytes = b"") -> ToolAnswer:
        # -s: names reach the other side as they are, whatever a shell there would make of them.
        fixed = ("rsync", "-s", f"--timeout={_TIMEOUT_S}", f"--rsh={self._shell}")
        return run_tool([*fixed, *words], place=self.name, given=given)

    def _check(self, answer: ToolAnswer, *, fine: tuple[int, ...] = (0,)) -> None:
        if answer.status in fine:
            return
        if answer.status == _SSH_FAULT and any(sign in answer.complaint for sign in _WRONG_LOGIN):
            raise PublishError(f"{self.name}: ssh: {answer.complaint}; check host, user, keys and agent with `ssh`")
        if answer.status in (*_BROKEN, _SSH_FAULT):
            raise ConnectionDropped(answer.complaint)
        raise PublishError(f"{self.name}: rsync: {answer.complaint}; check path, rights and room at the host")


def _no_root(answer: ToolAnswer) -> bool:
    return answer.status != 0 and "change_dir" in answer.complaint and "No such file" in answer.complaint


def _listed(names: Iterable[str]) -> bytes:
    return b"".join(os.fsencode(name) + b"\0" for name in names)


def _plain(name: str) -> str:
    """Return a name as it is, from rsync's way of writing bytes that it will not print."""
    return re.sub(
        r"(?:\\#[0-7]{3})+",
        lambda found: bytes(int(octal, 8) for octal in found[0].split("\\#")[1:]).decode("utf-8", "surrogateescape"),
        name,
    )
