"""The steps by which a text file of the observer was changed, so that each can be undone and done again.

Each file has its own in `.northlimb-work/history/`, written before the file itself: after a stop in between, the file's
text tells which of the two was reached. Only what this computer wrote is believed.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, replace
from typing import Any

from archive.disk import Folder
from archive.records.archive_files import WORK_NAME
from archive.signed_content import signed_content, verified_content

__all__ = ["History", "Step", "read_history", "text_digest", "write_history"]

_FOLDER = f"{WORK_NAME}/history"
_MOST_STEPS, _MOST_CHARACTERS, _MOST_BYTES = 200, 4_000_000, 40_000_000


@dataclass(frozen=True)
class Step:
    """A change of one file, told in a few words; None where there was no such file, or is none any more.

    Where the observation itself was given another time, `former_id` and `id` are its names before and after, and
    `after` is that time.
    """

    words: str
    time_ns: int
    file: str
    before: str | None
    after: str | None
    former_id: str | None = None
    id: str | None = None


@dataclass(frozen=True)
class History:
    """Steps in order; the first `done` of them are in effect, and the others were undone."""

    steps: tuple[Step, ...] = ()
    done: int = 0

    @property
    def last(self) -> Step | None:
        """The step that would be undone."""
        return self.steps[self.done - 1] if self.done else None

    @property
    def next(self) -> Step | None:
        """The step that would be done again."""
        return self.steps[self.done] if self.done < len(self.steps) else None

    def offered(self, text: str | None, identifier: str | None = None) -> tuple[str | None, str | None]:
        """Return the words of what can be undone and done again where the file holds this text, and the observation
        has this id; None for what another hand has overtaken.
        """
        here = self.at(text)
        last, following = here.last, here.next
        back = last is not None and (last.after == text if last.id is None else last.id == identifier)
        on = following is not None and (
            following.before == text if following.id is None else following.former_id == identifier
        )
        return last.words if last and back else None, following.words if following and on else None

    def with_step(self, step: Step) -> History:
        """Return the history with one more step in effect; what was undone before is forgotten, and so are the oldest
        where there are very many.
        """
        steps = (*self.steps[: self.done], step)[-_MOST_STEPS:]
        while len(steps) > 1 and sum(len(one.before or "") + len(one.after or "") for one in steps) > _MOST_CHARACTERS:
            steps = steps[1:]
        return History(steps, len(steps))

    def at(self, text: str | None) -> History:
        """Return the history as it is in effect where the file holds this text.

        A stop between the two writings leaves it one step ahead or behind.
        """
        last, following = self.last, self.next
        if last is not None and last.id is None and text != last.after and text == last.before:
            return replace(self, done=self.done - 1)
        if (last is None or text != last.after) and following is not None and following.id is None:
            if text != following.before and text == following.after:
                return replace(self, done=self.done + 1)
        return self


def text_digest(text: str | None) -> str:
    """Return the digest of a file's text by which an edit says what it was made from; empty where there is no file."""
    return "" if text is None else hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:32]


def read_history(files: Folder, subject: str) -> History:
    """Return the steps of a subject, such as ``notes-2026-06-03``; none where this computer has not written any."""
    name = _file_of(subject)
    try:
        kept = json.loads(verified_content(files.read(name, most_bytes=_MOST_BYTES), name))
        steps = tuple(Step(**entry) for entry in kept["steps"])
        return History(steps, max(0, min(int(kept["done"]), len(steps))))
    except (OSError, ValueError, LookupError, TypeError, RecursionError):
        return History()


def write_history(files: Folder, subject: str, history: History) -> None:
    """Write the steps of a subject.

    Raises
    ------
    FolderError
        The system refuses.
    """
    name = _file_of(subject)
    kept: dict[str, Any] = {"steps": [asdict(step) for step in history.steps], "done": history.done}
    files.write(name, signed_content(json.dumps(kept).encode("utf-8"), name))


def _file_of(subject: str) -> str:
    return f"{_FOLDER}/{hashlib.sha256(subject.encode()).hexdigest()[:32]}.json"
