"""Answers of the desk: JSON out, small JSON in, refusals that name the field and hold no path."""

from __future__ import annotations

import json
import re
from collections.abc import Awaitable, Callable, Iterable
from dataclasses import asdict, is_dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response

from archive.desk.plain_words import told
from archive.desk.typed_numbers import with_typed_numbers
from archive.errors import ArchiveError
from archive.records.toml_files import TomlModel, cause_of_mistake
from archive.upkeep.editing import ChangedMeanwhile

__all__ = ["Refusal", "answer", "answered", "form_of", "plain_causes"]

_MOST_BYTES = 1_000_000
_DEEPEST = 20
# A key such as sites[1].latitude_deg, after the file's name or at the start of a cause.
_FIELD = re.compile(r"(?:^|: )([a-z][a-z0-9_]*(?:\[\d+\])?(?:\.[a-z][a-z0-9_]*)*)(?= = |: )")
# A path from the root of a disk; the address of a host, and a path within the archive, hold none.
_ABSOLUTE = re.compile(r"(?<![\w/.~-])(?!(?<=:)//)(?:[A-Za-z]:\\|/)(?:[^\s:;,'\"]+[/\\])+")

Form = TypeVar("Form", bound=TomlModel)
Endpoint = Callable[[Request], Awaitable[Response]]


class Refusal(Exception):
    """A request that is answered by a status and a line for each cause."""

    def __init__(self, status: int, *causes: str) -> None:
        super().__init__(*causes)
        self.status, self.causes = status, causes


def answer(value: object, status: int = 200) -> Response:
    """Return a value as JSON; dates and times in the standard's form, data classes as objects."""
    text = json.dumps(value, default=_plain, ensure_ascii=False, allow_nan=False)
    return Response(text.encode("utf-8", "replace"), status, media_type="application/json")


def _plain(value: object) -> object:
    if isinstance(value, datetime | date):
        return value.isoformat().replace("+00:00", "Z")
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    raise TypeError(type(value).__name__)


def answered(endpoint: Endpoint) -> Endpoint:
    """Return an endpoint whose refusals are answers, and whose defects are told in one line without a traceback."""

    async def answering(request: Request) -> Response:
        try:
            return await endpoint(request)
        except Refusal as refusal:
            return _refused(request, refusal.status, refusal.causes)
        except ChangedMeanwhile as error:
            return _refused(request, 409, error.causes)
        except ArchiveError as error:
            return _refused(request, 422, error.causes)
        except ClientDisconnect:
            return Response(status_code=400)
        except OSError as error:
            return _refused(request, 503, (error.strerror or "the system refuses",))
        except Exception as error:
            request.app.state.report(error)
            return _refused(request, 500, ("a defect of northlimb; the terminal says more",))

    return answering


def _refused(request: Request, status: int, causes: Iterable[str]) -> Response:
    listed = list(causes)
    texts = plain_causes(listed, request.app.state.roots())
    named = [{"field": _field_of(cause), "text": text} for cause, text in zip(listed, texts, strict=True)]
    return answer({"causes": named}, status)


def _field_of(cause: str) -> str | None:
    return next((found for found in _FIELD.findall(cause) if not found.endswith(".toml")), None)


def plain_causes(causes: Iterable[str], roots: Iterable[Path]) -> list[str]:
    """Return causes as pages show them, without this computer's paths: what lies in the archive is named within it."""
    plain = []
    for cause in causes:
        for root in roots:
            cause = cause.replace(f"{root}/", "").replace(f"{root}\\", "").replace(str(root), "the archive")
        plain.append(told(_ABSOLUTE.sub("", cause)))
    return plain


async def form_of(request: Request, model: type[Form]) -> Form:
    """Return the JSON of a request, checked.

    Raises
    ------
    Refusal
        It is too large, no JSON, or holds what it must not.
    FactsError
        What was typed for a number is none.
    """
    data = b""
    async for chunk in request.stream():
        data += chunk
        if len(data) > _MOST_BYTES:
            raise Refusal(413, "over 1 MB")
    try:
        if _is_deep(data):
            raise Refusal(400, "nested too deeply")
        found = json.loads(data.decode("utf-8"), parse_constant=_no_constant)
        if isinstance(found, dict):
            found = with_typed_numbers(model, found)
        return model.model_validate_json(json.dumps(found))
    except ValidationError as error:
        raise Refusal(422, *(_mistake(one, model) for one in error.errors(include_url=False)[:20])) from error
    except (ValueError, RecursionError) as error:
        raise Refusal(400, "not JSON") from error


def _is_deep(data: bytes) -> bool:
    """Return whether brackets are nested deeper than those of any form."""
    depth = 0
    for sign in data:
        depth += (sign in b"[{") - (sign in b"]}")
        if depth > _DEEPEST:
            return True
    return False


def _no_constant(name: str) -> float:
    raise ValueError(name)


def _mistake(mistake: Any, model: type[TomlModel]) -> str:
    # What was typed for a password is not told again.
    found = {**mistake, "input": ()} if "password" in mistake["loc"] else mistake
    return cause_of_mistake("" if mistake["loc"] else "form", found, model)
