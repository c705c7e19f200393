"""Values of options that cannot be read are refused with the way to write them."""

from __future__ import annotations

import pytest

from archive.commands.main import main


@pytest.mark.parametrize(
    ("words", "advice"),
    [
        (["add", "sun", "disc.png", "--north-angle", "12,5"], "'12,5' is not a number; write 12.5"),
        (["new", "sun", "--camera-angle", "12 deg"], "'12 deg' is not a number; write 12.5"),
        (["sun", "--radius", "12,5"], "'12,5' is not a number; write 12.5"),
        (["film", "sun", "--pace", "1,5"], "'1,5' is not a number; write 12.5"),
        (["film", "sun", "--from", "3 June", "--to", "2026-06-04"], "'3 June' is not a day; write 2026-06-03"),
    ],
)
def test_a_number_or_a_day_of_another_form_is_misuse_that_names_the_right_form(
    words: list[str], advice: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(words) == 2
    assert advice in capsys.readouterr().err


def test_a_number_beyond_its_limits_is_still_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["film", "sun", "--pace", "600"]) == 2
    assert "600.0 is not in the range 0.2<=x<=60" in capsys.readouterr().err
