"""Two folders change places in one step, so that no reader ever finds neither."""

from __future__ import annotations

from archive.disk import Folder

__all__ = ["exchange_or_rename", "rename_in_turn"]


def exchange_or_rename(parent: Folder, new: str, current: str, aside: str) -> str:
    """Put the folder `new` of `parent` in the place of `current`, and return what the old folder is called now.

    On Linux the two exchange their names in one step. Elsewhere the old folder is first renamed to `aside`,
    then the new one takes its name: for the instant between the two, `current` is missing; a run stopped in
    it leaves the old folder whole under `aside`.

    Raises
    ------
    OSError
        The folders cannot be renamed: a mount point, a parent folder that may not be written.
    """
    return new if parent.exchange(new, current) else rename_in_turn(parent, new, current, aside)


def rename_in_turn(parent: Folder, new: str, current: str, aside: str) -> str:
    """Rename `current` to `aside` and `new` to `current`; what systems without an exchange get."""
    parent.rename(current, aside)
    try:
        parent.rename(new, current)
    except OSError:
        parent.rename(aside, current)
        raise
    return aside
