"""A page that says why the desk did not start: whoever pressed its icon sees no terminal."""

from __future__ import annotations

import locale
import os
import tempfile
import traceback
import webbrowser
from pathlib import Path

from archive.desk.pages import failed_html
from archive.disk import Folder
from archive.errors import ArchiveError
from archive.language import speaking
from archive.language.recognition import retold

__all__ = ["show_failed_start"]


def show_failed_start(error: Exception) -> Path:
    """Write the page, in the system's language, open it in the browser, and return it.

    Parameters
    ----------
    error : Exception
        What ended the start; the text of a defect is for whoever is told of it.
    """
    is_refusal = isinstance(error, ArchiveError | OSError)
    causes = error.causes if isinstance(error, ArchiveError) else (str(error),)
    language = os.environ.get("LC_ALL") or os.environ.get("LANG") or (locale.getlocale()[0] or "")
    with speaking(language.partition(".")[0].replace("_", "-"), part="desk"):
        page = failed_html([retold(cause) for cause in causes], "" if is_refusal else _traceback(error))
    # It stays for the system to clear: the browser reads it when it has come up.
    folder = Path(tempfile.mkdtemp(prefix="northlimb-desk-failed-"))
    Folder(folder).write("failed.html", page)
    webbrowser.open((folder / "failed.html").as_uri())
    return folder / "failed.html"


def _traceback(error: Exception) -> str:
    return "".join(traceback.format_exception(error))
