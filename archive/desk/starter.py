"""An icon by which the desk is started: in the menu of applications (Linux, macOS), or on the desktop (Windows).

Each is text in a form that the system documents, so it needs no library: a desktop entry, an application bundle around
a shell script, a command file. A Windows shortcut would be a binary form; a command file does the same when it is
double-clicked, at the cost of a console's flash.
"""

from __future__ import annotations

import os
import plistlib
import shlex
import sys
import sysconfig
from collections.abc import Sequence
from pathlib import Path

from archive import __version__
from archive.disk import Folder, make_named_folder, read_own
from archive.errors import FolderError, clear_refusal
from archive.templates_folder import templates_dir

__all__ = ["desk_command", "write_starter"]

_NAME, _SCRIPT = "Northlimb", "northlimb-desk"
# The Desktop Entry Specification's reserved signs within double quotes.
_QUOTED = str.maketrans({sign: f"\\{sign}" for sign in '"`$\\'})


def desk_command(folder: Path | None) -> list[str]:
    """Return the words that start the desk of an archive, else of the last one: the installed script's, if there is."""
    script = Path(sysconfig.get_path("scripts")) / (f"{_SCRIPT}.exe" if sys.platform == "win32" else _SCRIPT)
    start = [str(script)] if script.is_file() else [sys.executable, "-m", "archive", "desk", "--from-icon"]
    return start if folder is None else [*start, str(folder.resolve())]


def write_starter(folder: Path | None, *, system: str = sys.platform) -> Path:
    """Write the icon, in place of an earlier one, and return it.

    Parameters
    ----------
    folder : Path or None
        Of the archive to open; None is the one that was at the desk last.
    system : str
        As `sys.platform` names it.

    Raises
    ------
    FolderError
        The system refuses.
    """
    command = desk_command(folder)
    if any(not word.isprintable() for word in command):
        raise FolderError(f"{command[-1]!r}: a name that no starter can hold; rename the folder")
    if system == "win32":
        return _write_command_file(command)
    return _write_bundle(command) if system == "darwin" else _write_desktop_entry(command)


def _write(path: Path, data: bytes, *, runs: bool = False) -> Path:
    with clear_refusal(path):
        make_named_folder(path.parent)
        Folder(path.parent).write(path.name, data)
        if runs:
            Folder(path.parent).chmod(path.name, 0o755)
    return path


def _write_desktop_entry(command: Sequence[str]) -> Path:
    """Write an entry of the menu, by the Desktop Entry Specification 1.5, and its picture, by the Icon Theme one."""
    data = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    icon = data / "icons" / "hicolor" / "scalable" / "apps" / f"{_SCRIPT}.svg"
    _write(icon, read_own(templates_dir() / "static" / "favicon.svg"))
    lines = [
        "[Desktop Entry]",
        "Type=Application",
        "Version=1.5",
        f"Name={_NAME}",
        "Comment=Your own archive of the Sun",
        f"Exec={' '.join(_entry_word(word) for word in command)}",
        f"Icon={_entry_string(str(icon))}",
        "Terminal=false",
        "Categories=Science;Astronomy;",
    ]
    text = "\n".join([*lines, ""])
    return _write(data / "applications" / f"{_SCRIPT}.desktop", text.encode("utf-8", "surrogateescape"))


def _entry_word(word: str) -> str:
    """Return a word for the key Exec: quoted, without field codes, and then escaped as any string there."""
    quoted = f'"{word.translate(_QUOTED)}"'
    return _entry_string(quoted.replace("%", "%%"))


def _entry_string(text: str) -> str:
    return text.replace("\\", "\\\\")


def _write_bundle(command: Sequence[str]) -> Path:
    """Write an application, as Apple's Bundle Programming Guide describes the least of one."""
    bundle = Path.home() / "Applications" / f"{_NAME}.app"
    facts = {
        "CFBundleExecutable": _SCRIPT,
        "CFBundleIdentifier": "org.northlimb.desk",
        "CFBundleName": _NAME,
        "CFBundlePackageType": "APPL",
        "CFBundleShortVersionString": __version__,
    }
    _write(bundle / "Contents" / "Info.plist", plistlib.dumps(facts))
    script = f"#!/bin/sh\nexec {shlex.join(command)}\n"
    _write(bundle / "Contents" / "MacOS" / _SCRIPT, script.encode("utf-8", "surrogateescape"), runs=True)
    return bundle


def _write_command_file(command: Sequence[str]) -> Path:
    """Write a command file on the desktop: `start` leaves at once, so that no console stays."""
    words = " ".join(f'"{word.replace("%", "%%")}"' for word in command)
    lines = ["@echo off", "chcp 65001 >nul", f'start "" {words}', ""]
    return _write(_windows_desktop() / f"{_NAME}.cmd", "\r\n".join(lines).encode("utf-8"))


def _windows_desktop() -> Path:
    """Return the user's desktop, which may have been moved to where files are kept in step."""
    if sys.platform == "win32":
        import winreg

        key = r"Software\Microsoft\Windows\CurrentVersion\Explorer\User Shell Folders"
        try:
            with winreg.OpenKey(winreg.HKEY_CURRENT_USER, key) as folders:
                return Path(winreg.ExpandEnvironmentStrings(str(winreg.QueryValueEx(folders, "Desktop")[0])))
        except OSError:
            pass
    return Path.home() / "Desktop"
