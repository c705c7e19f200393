"""What goes wrong in a command: lines for what the user can put right, a traceback for what only we can."""

from __future__ import annotations

import pytest

from archive.commands.failure import print_failure
from archive.errors import FactsError


def test_each_cause_of_a_refusal_is_a_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert print_failure(FactsError("a.png: no time", "b.png: no\nsite"), as_json=False) == 1
    assert capsys.readouterr() == ("", "northlimb: a.png: no time\nnorthlimb: b.png: no site\n")


def test_a_command_that_is_stopped_says_so_and_no_more(capsys: pytest.CaptureFixture[str]) -> None:
    assert print_failure(KeyboardInterrupt(), as_json=False) == 130
    assert capsys.readouterr() == ("", "stopped\n")


def test_a_defect_of_the_program_keeps_its_traceback() -> None:
    defect = ZeroDivisionError("a defect")
    with pytest.raises(ZeroDivisionError) as caught:
        print_failure(defect, as_json=True)
    assert caught.value is defect
