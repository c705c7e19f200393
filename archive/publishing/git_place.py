"""A branch of a git repository, for hosts that serve pages from one: a publication is one commit, pushed.

The system's git does the work, with the user's keys and credential helpers. Of the branch only the newest commit is
fetched, and of that, where the host can, only the names: a file travels when it is new.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Collection, Iterator, Mapping, Sequence
from pathlib import Path

from archive.disk import Folder
from archive.errors import PublishError
from archive.publishing.address import Address
from archive.publishing.staging import staged
from archive.publishing.system_tool import ToolAnswer, run_tool
from archive.site_tree.digests import Digest
from archive.site_tree.manifest import MANIFEST, Manifest, manifest_bytes, read_manifest
from archive.site_tree.place import ConnectionDropped, Delivery, FileMissing, with_retries
from archive.site_tree.plan import batches

__all__ = ["GitPlace"]

# What git, ssh and libcurl say, in small letters, when a connection broke or the host had no time; another attempt may
# help. What they say of a login that was refused comes with the same words at the end, and another does not help.
_DROPPED = (
    "connection reset",
    "connection closed",
    "connection refused",
    "connection timed out",
    "connection was reset",
    "connection died",
    "closed by remote host",
    "closed by the remote",
    "reset by peer",
    "broken pipe",
    "timed out",
    "timeout",
    "hung up",
    "early eof",
    "unexpected eof",
    "unexpected disconnect",
    "remote end",
    "unreachable",
    "no route to host",
    "could not resolve",
    "couldn't resolve",
    "name resolution",
    "failed to connect",
    "couldn't connect",
    "empty reply",
    "transfer closed",
    "recv failure",
    "send failure",
    "ssl_read",
    "ssl_connect",
    "ssl_error_syscall",
    "gnutls_handshake",
    "gnutls recv error",
    "terminated early",
    "invalid index-pack output",
    "rpc failed",
    "returned error: 429",
    "returned error: 5",
)
_FINAL = (
    "permission denied",
    "host key verification failed",
    "authentication failed",
    "could not read username",
    "could not read password",
    "certificate",
    "not found",
    "does not appear to be a git repository",
    "returned error: 401",
    "returned error: 403",
    "returned error: 404",
)
_CHANGED_MEANWHILE = ("fetch first", "non-fast-forward", "cannot lock ref")
_BATCH_FILES, _BATCH_BYTES = 1000, 256 << 20
_WHO = ("-c", "user.name=Northlimb", "-c", "user.email=northlimb@localhost.invalid")
_TIP = "refs/heads/tip"
_TREE_LINE = "Tree: "
_NO_FILE = "0" * 40


class GitPlace:
    """A branch; changed in one step by the push."""

    connections, lists_fast = 1, True

    def __init__(self, address: Address) -> None:
        self.name = address.name
        self._remote, self._branch = address.path, address.options.branch or ""
        self._scratch = tempfile.TemporaryDirectory(prefix="northlimb-")
        try:
            self._git("init", "--quiet", "--bare", ".")
            self._git("remote", "add", "origin", self._remote)
            self._tip = with_retries(lambda: self._fetched("--filter=blob:none"), place=self.name)
        except BaseException:
            self.close()
            raise

    def expect(self, names: Sequence[str]) -> None:
        """Fetch the files themselves, all at once."""
        if self._tip is not None:
            self._tip = with_retries(lambda: self._fetched("--refetch", "--no-filter"), place=self.name)

    def chunks(self, name: str) -> Iterator[bytes]:
        """Return the bytes of a file in the newest commit."""
        if self._tip is None or not self._git("ls-tree", self._tip, "--", name):
            raise FileMissing(name)
        yield self._git("cat-file", "blob", f"{self._tip}:{name}")

    def sizes(self, folders: Collection[str] | None) -> Mapping[str, int]:
        """Return all files of the newest commit.

        Their sizes are those of the list of files while the newest commit is a publication; after a commit by
        somebody else none is trusted, and all are compared by git.
        """
        if self._tip is None:
            return {}
        raw_names = self._git("ls-tree", "-r", "-z", "--name-only", self._tip).split(b"\0")
        listed = read_manifest(self._git("cat-file", "blob", f"{self._tip}:{MANIFEST}")) if self._is_ours() else None
        known = {name: digest.size for name, digest in listed.files.items()} if listed else {}
        return {name: known.get(name, -1) for name in map(os.fsdecode, filter(None, raw_names))}

    def _is_ours(self) -> bool:
        """Tell whether the newest commit is a publication, by the tree that its message names."""
        message = self._git("log", "-1", "--format=%B", f"{self._tip}").decode("utf-8", "replace")
        return f"{_TREE_LINE}{self._tree_of_tip()}" in message.splitlines()

    def _tree_of_tip(self) -> str:
        return self._git("rev-parse", f"{self._tip}^{{tree}}").decode().strip()

    def digests(self, held: Manifest) -> Mapping[str, Digest]:
        """Return what the list of files says."""
        return held.files

    def apply(self, delivery: Delivery) -> None:
        """Make the commit and push it; nothing is pushed where the files are those of the newest commit."""
        tree = self._new_tree(delivery)
        if self._tip is not None and tree == self._tree_of_tip():
            return
        message = f"Publish the site\n\n{_TREE_LINE}{tree}\n"
        parent = ["-p", self._tip] if self._tip else []
        commit = self._git(*_WHO, "commit-tree", tree, *parent, "-m", message).decode().strip()
        with_retries(lambda: self._push(commit), place=self.name)

    def _new_tree(self, delivery: Delivery) -> str:
        """Put together the tree of the new commit: the old one, with what is sent and without what is removed."""
        plan, digests = delivery.plan, delivery.digests
        if self._tip is not None:
            self._git("read-tree", self._tip)
        ids: list[str] = []
        for batch in batches(plan.send, digests, files=_BATCH_FILES, size=_BATCH_BYTES):
            ids += self._taken_in(delivery.tree.folder, batch)
        listed = self._git("hash-object", "-w", "--stdin", given=manifest_bytes(digests)).decode().strip()
        rows = [f"0 {_NO_FILE}\t{name}" for name in plan.remove]
        rows += [f"100644 {file_id}\t{name}" for file_id, name in zip(ids, plan.send, strict=True)]
        rows.append(f"100644 {listed}\t{MANIFEST}")
        self._git("update-index", "-z", "--index-info", given="\0".join([*rows, ""]).encode("utf-8", "surrogateescape"))
        return self._git("write-tree", "--missing-ok").decode().strip()

    def _taken_in(self, source: Folder, names: Sequence[str]) -> Sequence[str]:
        """Copy files into our repository; git itself would follow links, and end a name at a line break."""
        numbered = {str(number): name for number, name in enumerate(names)}
        with staged(source, numbered, place=self.name) as folder:
            given = "".join(f"{folder / number}\n" for number in numbered).encode("utf-8", "surrogateescape")
            return self._git("hash-object", "-w", "--no-filters", "--stdin-paths", given=given).decode().split()

    def _fetched(self, *how: str) -> str | None:
        """Fetch the newest commit; None where there is no such branch yet."""
        asked = f"+refs/heads/{self._branch}:{_TIP}"
        words = ("fetch", "--quiet", "--no-tags", "--depth=1", *how, "origin", asked)
        answer = run_tool(self._words(*words), place=self.name, environment=self._environment())
        if answer.status == 0:
            return self._git("rev-parse", _TIP).decode().strip()
        if "find remote ref" in answer.complaints:
            return None
        raise self._told(answer)

    def _push(self, commit: str) -> None:
        words = ("push", "--quiet", "origin", f"{commit}:refs/heads/{self._branch}")
        answer = run_tool(self._words(*words), place=self.name, environment=self._environment())
        if answer.status == 0:
            return
        if "rejected" in answer.complaints and any(sign in answer.complaints for sign in _CHANGED_MEANWHILE):
            raise PublishError(f"{self.name}: somebody else changed the branch meanwhile: publish again")
        raise self._told(answer)

    def _told(self, answer: ToolAnswer) -> Exception:
        said = answer.complaints.lower()
        if any(sign in said for sign in _DROPPED) and not any(sign in said for sign in _FINAL):
            return ConnectionDropped(answer.complaint)
        return PublishError(f"{self.name}: git: {answer.complaint}; check the URL and your keys with `git ls-remote`")

    def _git(self, *words: str, given: bytes = b"") -> bytes:
        answer = run_tool(self._words(*words), place=self.name, given=given, environment=self._environment())
        if answer.status:
            raise self._told(answer)
        return answer.out

    def _words(self, *words: str) -> Sequence[str]:
        own = ["git", "-C", self._scratch.name, "-c", "gc.auto=0"]
        if "@" in self._remote:  # who one is, or a token: for this host alone
            own += ["-c", "http.followRedirects=false"]
        return [*own, *words]

    def _environment(self) -> Mapping[str, str]:
        """Return the environment for git: our own repository only, and no prompts, as there may be no terminal."""
        folder = Path(self._scratch.name)
        return {
            "GIT_DIR": str(folder),
            "GIT_INDEX_FILE": str(folder / "site-index"),
            "GIT_TERMINAL_PROMPT": "0",
            "GIT_ALLOW_PROTOCOL": "https:ssh:file",  # also where a host sends one on to another address
            "TZ": "UTC",  # a commit tells the zone of whoever made it
        }

    def close(self) -> None:
        """Remove what was fetched."""
        self._scratch.cleanup()
