"""S3-compatible object stores: a bucket and a prefix, with the keys that the library finds by itself.

Keys come from the environment (AWS_ACCESS_KEY_ID and the like), from the system's keyring where the desk put them
there, from ~/.aws or from the machine's role. An object appears under its name only when it is whole, so no temporary
names are needed.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import partial
from typing import Any, TypeVar
from urllib.parse import urlsplit

from archive.disk import Folder
from archive.errors import PublishError
from archive.publishing.address import Address, is_loopback
from archive.publishing.content_types import cache_control, content_type
from archive.publishing.keyring_logins import kept_login
from archive.site_tree.digests import Digest
from archive.site_tree.manifest import Manifest
from archive.site_tree.parallel import run_parallel
from archive.site_tree.place import ConnectionDropped, Delivery, FileMissing, with_retries
from archive.site_tree.step_by_step import step_by_step

__all__ = ["S3Place"]

_LANES, _BLOCK_BYTES = 8, 1 << 18
_TIMEOUT_S, _ATTEMPTS = 30, 2  # the library's own; each of them is made again by `with_retries`
_MISSING = ("NoSuchKey", "404", "NotFound")
_BUSY = ("SlowDown", "InternalError", "ServiceUnavailable", "RequestTimeout", "500", "502", "503", "504")
_WRONG_KEYS = ("InvalidAccessKeyId", "SignatureDoesNotMatch", "AuthFailure", "ExpiredToken", "InvalidToken")


Answer = TypeVar("Answer")


class S3Place:
    """A prefix in a bucket."""

    connections, lists_fast = _LANES, True
    batch_files, batch_bytes = 64, 64 << 20

    def __init__(self, address: Address) -> None:
        self.name = address.name
        self._bucket, prefix = address.host, address.path.strip("/")
        self._prefix = f"{prefix}/" if prefix else ""
        with self._faults():
            self._client = _client(address)
        endpoint = urlsplit(self._client.meta.endpoint_url)
        if endpoint.scheme != "https" and not is_loopback(endpoint.hostname):
            raise PublishError(f"{self.name}: endpoint {endpoint.geturl()} is not encrypted; write https://")

    def expect(self, names: Sequence[str]) -> None:
        """Nothing to prepare: objects are read side by side."""

    def chunks(self, name: str) -> Iterator[bytes]:
        """Return the bytes of an object."""
        with self._faults(name):
            body = self._client.get_object(Bucket=self._bucket, Key=self._prefix + name)["Body"]
            with body:
                yield from body.iter_chunks(_BLOCK_BYTES)

    def sizes(self, folders: Collection[str] | None) -> Mapping[str, int]:
        """Return all objects below the prefix, a thousand a request."""
        return self._ask("", self._listed)

    def _listed(self) -> Mapping[str, int]:
        found: dict[str, int] = {}
        pages = self._client.get_paginator("list_objects_v2").paginate(Bucket=self._bucket, Prefix=self._prefix)
        for page in pages:
            for entry in page.get("Contents", ()):
                name = entry["Key"].removeprefix(self._prefix)
                if name and not name.endswith("/"):  # such keys stand for folders in some tools
                    found[name] = entry["Size"]
        return found

    def digests(self, held: Manifest) -> Mapping[str, Digest]:
        """Return what the list of files says."""
        return held.files

    def apply(self, delivery: Delivery) -> None:
        """Change object by object."""
        step_by_step(self, delivery)

    def put(self, source: Folder, names: Sequence[str]) -> None:
        """Bring files there side by side; large ones in parts, which appear as one when all are there."""
        run_parallel(partial(self._put, source), names, connections=_LANES)

    def _put(self, source: Folder, name: str) -> None:
        from boto3.s3.transfer import TransferConfig

        one_thread = TransferConfig(use_threads=False)
        place = (self._bucket, self._prefix + name)

        def once() -> None:
            with source.open(name) as given:
                self._client.upload_fileobj(given, *place, ExtraArgs=_headers(name), Config=one_thread)

        self._ask(name, once)

    def put_bytes(self, name: str, data: bytes) -> None:
        """Bring an object there whose bytes are at hand."""
        place = {"Bucket": self._bucket, "Key": self._prefix + name}
        self._ask(name, lambda: self._client.put_object(**place, Body=data, **_headers(name)))

    def delete(self, names: Sequence[str], folders: Sequence[str]) -> None:
        """Remove objects; folders there are none."""
        # One by one: many compatible hosts want another checksum for the request that takes a thousand.
        run_parallel(self._delete, names, connections=_LANES)

    def _delete(self, name: str) -> None:
        self._ask(name, lambda: self._client.delete_object(Bucket=self._bucket, Key=self._prefix + name))

    def close(self) -> None:
        """Hang up."""
        self._client.close()

    def _ask(self, name: str, ask: Callable[[], Answer]) -> Answer:
        def once() -> Answer:
            with self._faults(name):
                return ask()

        return with_retries(once, place=self.name)

    @contextmanager
    def _faults(self, name: str = "") -> Iterator[None]:
        """The library's faults in the words of this program; it has tried again by itself."""
        from boto3.exceptions import S3UploadFailedError
        from botocore import exceptions

        where = f"{self.name}: {name}" if name else self.name
        try:
            yield
        except exceptions.ClientError as error:
            raise self._told(error.response.get("Error", {}), where, name) from None
        except S3UploadFailedError as error:
            cause = error.__context__
            told = cause.response.get("Error", {}) if isinstance(cause, exceptions.ClientError) else {}
            raise self._told(told or {"Code": str(cause or error)}, where, "") from None
        except (exceptions.NoCredentialsError, exceptions.PartialCredentialsError, exceptions.ProfileNotFound) as error:
            raise PublishError(
                f"{self.name}: no keys found ({error}); set AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY, or ~/.aws"
            ) from None
        except exceptions.SSLError as error:
            if "certificate verify failed" not in str(error):
                raise ConnectionDropped(str(error)) from None
            raise PublishError(
                f"{self.name}: the host's certificate is not trusted; name its authority in SSL_CERT_FILE"
            ) from None
        except (exceptions.HTTPClientError, exceptions.ResponseStreamingError, OSError) as error:
            raise ConnectionDropped(str(error)) from None
        except (exceptions.BotoCoreError, ValueError) as error:
            raise PublishError(f"{self.name}: {error}; check bucket, endpoint and region") from None

    def _told(self, error: Mapping[str, Any], where: str, name: str) -> Exception:
        code = str(error.get("Code", "unknown"))
        if code in _MISSING and name:
            return FileMissing(name)
        if code in _BUSY:
            return ConnectionDropped(code)
        if code in _WRONG_KEYS:
            return PublishError(f"{self.name}: the host refused the keys ({code}); check them in the environment")
        advice = {"NoSuchBucket": "make the bucket first", "AccessDenied": "check the rights of these keys"}
        return PublishError(f"{where}: the host refused ({code}); {advice.get(code, 'see the host’s messages')}")


def _headers(name: str) -> dict[str, str]:
    return {"ContentType": content_type(name), "CacheControl": cache_control(name)}


def _client(address: Address) -> Any:
    import boto3
    from botocore.config import Config

    # Checksums only where the protocol demands them: many compatible hosts do not know the newer ones.
    config = Config(
        connect_timeout=_TIMEOUT_S,
        read_timeout=_TIMEOUT_S,
        retries={"mode": "standard", "max_attempts": _ATTEMPTS},
        max_pool_connections=_LANES + 2,
        request_checksum_calculation="when_required",
        response_checksum_validation="when_required",
    )
    # Keys that were put into the keyring for this bucket, where the environment names none.
    kept = None if {"AWS_ACCESS_KEY_ID", "AWS_PROFILE"} & os.environ.keys() else kept_login(address)
    keys = {} if kept is None else {"aws_access_key_id": kept[0], "aws_secret_access_key": kept[1]}
    return boto3.session.Session().client(
        "s3",
        **keys,
        endpoint_url=address.options.endpoint,
        region_name=address.options.region,
        config=config,
        verify=None if os.environ.get("AWS_CA_BUNDLE") else os.environ.get("SSL_CERT_FILE") or None,
    )
