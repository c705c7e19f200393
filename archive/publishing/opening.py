"""From an address to the place behind it; what a kind needs is imported only for that kind."""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path

from archive.errors import PublishError
from archive.publishing.address import Address, Kind
from archive.publishing.credentials import find_login
from archive.site_tree.place import Place

__all__ = ["open_place"]

# Kind -> the module it needs and the extra that brings it.
_EXTRAS: dict[Kind, tuple[str, str]] = {"s3": ("boto3", "s3"), "sftp": ("paramiko", "sftp")}


def open_place(address: Address, *, target_name: str | None = None) -> Place:
    """Return the place behind an address, not yet looked at; to be closed by the caller.

    Raises
    ------
    PublishError
        What this kind of target needs is not installed.
    """
    module, extra = _EXTRAS.get(address.kind, ("archive", ""))
    if find_spec(module) is None:
        raise PublishError(f'{address.name}: needs more than is installed: pip install "northlimb[{extra}]"')
    return _OPENERS[address.kind](address, target_name)


def _ftps(address: Address, target_name: str | None) -> Place:
    from archive.publishing.ftps_place import ftps_place

    return ftps_place(address, find_login(address, target_name))


def _sftp(address: Address, target_name: str | None) -> Place:
    from archive.publishing.sftp_place import sftp_place

    return sftp_place(address, find_login(address, target_name))


def _webdav(address: Address, target_name: str | None) -> Place:
    from archive.publishing.webdav_place import webdav_place

    return webdav_place(address, find_login(address, target_name))


def _s3(address: Address, target_name: str | None) -> Place:
    from archive.publishing.s3_place import S3Place

    return S3Place(address)


def _rsync(address: Address, target_name: str | None) -> Place:
    from archive.publishing.rsync_place import RsyncPlace

    return RsyncPlace(address)


def _git(address: Address, target_name: str | None) -> Place:
    from archive.publishing.git_place import GitPlace

    return GitPlace(address)


def _zip(address: Address, target_name: str | None) -> Place:
    from archive.site_tree.zip_place import ZipPlace

    return ZipPlace(address.name, Path(address.path))


_OPENERS: dict[Kind, Callable[[Address, str | None], Place]] = {
    "ftps": _ftps,
    "sftp": _sftp,
    "webdav": _webdav,
    "webdavs": _webdav,
    "s3": _s3,
    "rsync": _rsync,
    "git": _git,
    "zip": _zip,
}
