"""Logins in the system's keyring, where the desk keeps them if asked to: by the host, never by a target's name.

So a target that was led elsewhere finds none. Systems without a keyring, and one that refuses, have none either.
"""

from __future__ import annotations

import json
from contextlib import suppress

from archive.errors import PublishError
from archive.publishing.address import Address

__all__ = ["forget_login", "keep_login", "kept_login", "keyring_name"]

# Below that a keyring keeps its passwords as plain text, by the library's own rule.
_LEAST_PRIORITY = 1
_ANY_USER = "northlimb"


def keyring_name() -> str | None:
    """Return the name of the system's keyring; None where there is none that is safe."""
    with suppress(Exception):  # the library may be missing; and whatever a system's own may raise
        import keyring

        found = keyring.get_keyring()
        if found.priority >= _LEAST_PRIORITY:
            return str(found.name)
    return None


def kept_login(address: Address) -> tuple[str | None, str] | None:
    """Return the user and the password (of an object store the two keys) that are kept for a host."""
    with suppress(Exception):
        import keyring

        user, password = json.loads(keyring.get_password(_service(address), address.user or _ANY_USER) or "")
        if isinstance(password, str) and (user is None or isinstance(user, str)):
            return user, password
    return None


def keep_login(address: Address, user: str | None, password: str) -> None:
    """Put a login into the system's keyring.

    Raises
    ------
    PublishError
        There is none, or it refuses.
    """
    if keyring_name() is None:
        raise PublishError(
            'this computer has no keyring, or pip install "northlimb[keyring]" was not run; '
            "the password is asked for each time"
        )
    import keyring

    try:
        keyring.set_password(_service(address), address.user or _ANY_USER, json.dumps([user, password]))
    except Exception as error:
        raise PublishError(f"the keyring refused the password ({type(error).__name__}); it is not kept") from None


def forget_login(address: Address) -> None:
    """Take a login out of the system's keyring."""
    with suppress(Exception):
        import keyring

        keyring.delete_password(_service(address), address.user or _ANY_USER)


def _service(address: Address) -> str:
    port = f":{address.port}" if address.port else ""
    endpoint = f" at {address.options.endpoint}" if address.options.endpoint else ""
    return f"northlimb {address.kind}://{address.host}{port}{endpoint}"
