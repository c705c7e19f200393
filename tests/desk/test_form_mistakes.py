"""What a form holds that it must not is told in our words, by its field, never in those of the checking library."""

from __future__ import annotations

import asyncio

import pytest
from starlette.requests import Request

from archive.desk.answers import Refusal, form_of
from archive.desk.corrections import Correction
from archive.desk.publishing import _DeedForm
from archive.records.toml_files import TomlModel


def refused(model: type[TomlModel], text: str) -> list[str]:
    async def receive() -> dict[str, object]:
        return {"type": "http.request", "body": text.encode(), "more_body": False}

    with pytest.raises(Refusal) as refusal:
        asyncio.run(form_of(Request({"type": "http", "method": "POST", "headers": []}, receive), model))
    return list(refusal.value.causes)


def test_a_mistake_of_a_form_names_field_value_and_what_is_right() -> None:
    text = '{"made_from": "", "action": "north", "north_angle_deg": 900, "mirrored": "maybe", "x": 1}'
    assert refused(Correction, text) == [
        "north_angle_deg = 900: must be at most 360",
        "mirrored = 'maybe': must be true or false, without quotes",
        "x: no such key; remove it",
    ]
    assert refused(Correction, "[]") == ["form = []: must be a table of keys and values"]


def test_a_password_is_not_told_again() -> None:
    assert refused(_DeedForm, '{"name": "web", "password": 1234567}') == ["password: must be text in quotes"]
