"""Where a site is to go: a folder, a zip, or a URL whose scheme says how it travels."""

from __future__ import annotations

import ipaddress
import re
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Literal, get_args
from urllib.parse import SplitResult, quote, unquote, urlsplit

from archive.errors import PublishError, without_password

__all__ = ["Address", "Kind", "TargetOptions", "is_loopback", "is_url", "parse_address", "parse_web_address"]

Kind = Literal["sftp", "rsync", "ftps", "s3", "webdavs", "webdav", "git", "zip", "folder"]

_SCHEMES: dict[str, Kind] = {
    "sftp": "sftp",
    "rsync+ssh": "rsync",
    "ftps": "ftps",
    "s3": "s3",
    "webdavs": "webdavs",
    "webdav": "webdav",
    "git+ssh": "git",
    "git+https": "git",
    "git+file": "git",
}
_NEAR = {"ftp": "ftps", "rsync": "rsync+ssh", "ssh": "rsync+ssh", "scp": "sftp", "dav": "webdav", "davs": "webdavs"}
_BRANCH = "pages"

# A name of the DNS (RFC 1123, 2.1; underscores too, which names in ~/.ssh/config hold), an address (RFC 3986, 3.2.2)
# with a zone where it needs one (RFC 6874), a bucket. Programs are given these words: none may mean more to them.
_LABEL = r"[A-Za-z0-9_](?:[A-Za-z0-9_-]{0,61}[A-Za-z0-9_])?"
_HOST_NAME = re.compile(rf"(?=.{{1,253}}\Z){_LABEL}(?:\.{_LABEL})*\.?")
_ZONE = re.compile(r"(?:%[A-Za-z0-9._-]{1,32})?")
_BUCKET = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,254}")
_USER = re.compile(r"[\w+@.~=,][\w+@.~=,-]{0,254}")
_NO_USER_SHOWN = "***"


@dataclass(frozen=True)
class TargetOptions:
    """What a target needs besides its address.

    `branch` is for git, `endpoint` and `region` for S3; `keep` names files and folders at the target that are
    somebody else's and stay.
    """

    branch: str | None = None
    endpoint: str | None = None
    region: str | None = None
    keep: tuple[str, ...] = ()


@dataclass(frozen=True)
class Address:
    """A target's address, taken apart; `name` is how it is told, and never holds a secret.

    `path` is the place at the host: for ``s3`` the prefix in the bucket `host`, for ``git`` the remote's own URL.
    """

    kind: Kind
    name: str
    path: str
    host: str = ""
    port: int | None = None
    user: str | None = None
    options: TargetOptions = TargetOptions()


def is_url(text: str) -> bool:
    """Tell a URL from a folder's name."""
    return re.match(r"[A-Za-z][A-Za-z0-9+.-]*://", text) is not None


def parse_address(text: str, options: TargetOptions | None = None) -> Address:
    """Take a target's address apart.

    Raises
    ------
    PublishError
        An unknown scheme, a password in the URL, or a part that is missing.
    """
    options = options or TargetOptions()
    if not is_url(text):
        _refuse_slip(text)
        kind: Kind = "zip" if text.lower().endswith(".zip") and not Path(text).is_dir() else "folder"
        return Address(kind, text, text, options=options)
    _refuse_password(text)
    parts = urlsplit(text)
    if parts.scheme not in _SCHEMES:
        raise PublishError(f"{text}: targets of this kind are not known: {_advice(parts.scheme)}")
    if parts.query or (parts.fragment and not parts.scheme.startswith("git+")):
        raise PublishError(f"{parts.scheme}://{parts.netloc}{parts.path}: take out what follows ? or #")
    if parts.scheme.startswith("git+"):
        return _git_address(parts, options)
    return _host_address(parts, options)


def parse_web_address(text: str) -> str:
    """Return a public web address with the slash at its end, so that files' names can follow.

    Raises
    ------
    PublishError
        A password in it, or no host.
    """
    _refuse_password(text)
    parts = urlsplit(text)
    if not parts.hostname or parts.query or parts.fragment or parts.username is not None:
        raise PublishError(f"{text}: not the address of a site; write it like https://example.org/sun/")
    _host(text, parts)
    path = re.sub(r"index\.html$", "", parts.path)
    return f"{parts.scheme}://{parts.netloc}{path.rstrip('/')}/"


def _refuse_slip(text: str) -> None:
    """A slip in a URL, or nothing at all, must not become a folder in the place where the command runs."""
    if not text.strip():
        raise PublishError("the target is empty; name a folder, a .zip or a URL like sftp://host/path")
    scheme, colon, rest = text.partition(":")
    if colon and scheme in {*_SCHEMES, *_NEAR}:
        raise PublishError(f"{text}: not an address; write it like {_NEAR.get(scheme, scheme)}://host/path")
    if "@" in scheme and rest and not Path(text).exists():
        raise PublishError(f"{text}: write it like sftp://{scheme}/{rest.lstrip('/')}")


def _refuse_password(text: str) -> None:
    """A password in a URL ends in histories, logs and backups."""
    try:
        parts = urlsplit(text)
        held = parts.password is not None or (parts.port is None and without_password(text) != text)
    except ValueError:  # the port is no number: part of a password that holds a slash, or a slip
        held = True
    if held:
        raise PublishError(
            f"{text}: holds a password or a port that is no number: take it out; passwords come from the environment "
            "(NORTHLIMB_PASSWORD), from ~/.netrc or from your keys"
        )


def is_loopback(host: str | None) -> bool:
    """Tell whether a host is this computer itself."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host or "").is_loopback
    except ValueError:
        return False


def _host_address(parts: SplitResult, options: TargetOptions) -> Address:
    name = f"{parts.scheme}://{parts.netloc}{parts.path}"
    if not parts.hostname:
        raise PublishError(f"{name}: names no host; write it like {parts.scheme}://host/path")
    kind, path = _SCHEMES[parts.scheme], _checked_path(name, parts.path)
    if kind != "s3" and not path.strip("/"):
        raise PublishError(f"{name}: names no folder; write it like {parts.scheme}://host/path (~ is your home there)")
    if kind == "s3" and (parts.username or parts.port):
        raise PublishError(f"{name}: write s3://bucket/prefix; keys come from the environment, the host is endpoint")
    host, user = _bucket(name, parts) if kind == "s3" else _host(name, parts), _user(name, parts)
    if kind == "webdav" and not is_loopback(host):
        raise PublishError(f"{name}: would send everything unencrypted; write webdavs://")
    return Address(kind, name, path, host, parts.port, user, options)


def _checked_path(name: str, path: str) -> str:
    path = unquote(path)
    if ".." in PurePosixPath(path).parts or not path.isprintable():
        raise PublishError(f"{name}: the path must not hold .. or control characters")
    return path


def _host(name: str, parts: SplitResult) -> str:
    """Return the host; what is written with percent signs is looked at as what it stands for."""
    host = unquote(parts.hostname or "")
    if host.startswith("-"):
        raise PublishError(f"{name}: host and user must not begin with a dash")
    if "[" in parts.netloc:
        address, percent, zone = host.partition("%")
        if _is_address(address) and _ZONE.fullmatch(percent + zone):
            return host
    elif _HOST_NAME.fullmatch(host):
        return host
    raise PublishError(
        f"{name}: {host!r} is no host; write a name like example.org, or an address like 192.0.2.7 or [2001:db8::7]"
    )


def _is_address(text: str) -> bool:
    try:
        ipaddress.IPv6Address(text)
    except ValueError:
        return False
    return True


def _bucket(name: str, parts: SplitResult) -> str:
    # Host names know no large letters, but buckets are taken as written.
    bucket = unquote(parts.netloc)
    if not _BUCKET.fullmatch(bucket):
        raise PublishError(f"{name}: {bucket!r} is no bucket's name; write it like s3://bucket/prefix")
    return bucket


def _user(name: str, parts: SplitResult) -> str | None:
    user = unquote(parts.username) if parts.username else None
    if user is not None and user.startswith("-"):
        raise PublishError(f"{name}: host and user must not begin with a dash")
    if user is not None and not _USER.fullmatch(user):
        raise PublishError(f"{name}: the user must hold letters, digits and . _ + - @ ~ = , only")
    return user


def _git_address(parts: SplitResult, options: TargetOptions) -> Address:
    scheme, local = parts.scheme.removeprefix("git+"), parts.scheme == "git+file"
    shown = f"{parts.scheme}://{_shown_authority(parts)}{parts.path}"
    branch = parts.fragment or options.branch or _BRANCH
    if not parts.path.strip("/") or (not parts.hostname and not local):
        raise PublishError(f"{shown}: names no repository; write it like git+ssh://git@host/name.git")
    if local and parts.netloc:
        raise PublishError(f"{shown}: names a host; write it like git+file:///srv/git/name.git")
    _checked_path(shown, parts.path)
    if not re.fullmatch(r"[A-Za-z0-9_][A-Za-z0-9._/-]*", branch) or ".." in branch or branch.endswith((".lock", "/")):
        raise PublishError(f"{shown}: branch = {branch!r}: not a branch's name")
    kept = TargetOptions(branch, options.endpoint, options.region, options.keep)
    remote = f"{scheme}://{'' if local else _git_authority(shown, parts)}{parts.path}"
    return Address("git", f"{shown}#{branch}", remote, options=kept)


def _git_authority(shown: str, parts: SplitResult) -> str:
    """Return user, host and port composed of their checked parts."""
    host, user = _host(shown, parts), _user(shown, parts)
    host = f"[{host}]" if ":" in host else host
    return (f"{quote(user)}@" if user else "") + host + (f":{parts.port}" if parts.port else "")


def _shown_authority(parts: SplitResult) -> str:
    """Return host with its user; over https that is often a token, which nobody is to read."""
    user, at, host = parts.netloc.rpartition("@")
    secret = parts.scheme == "git+https" and user not in ("", "git")
    return f"{_NO_USER_SHOWN if secret else user}{at}{host}"


def _advice(scheme: str) -> str:
    if scheme in ("http", "https"):
        return f"a site is read at {scheme}://, but written at webdavs://, s3://, sftp:// and the like"
    if scheme in _NEAR:
        return f"write {_NEAR[scheme]}://"
    return "use one of " + ", ".join(f"{known}://" for known in _SCHEMES) + ", a folder or a .zip"


assert set(_SCHEMES.values()) | {"zip", "folder"} == set(get_args(Kind))
