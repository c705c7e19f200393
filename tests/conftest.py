"""What all tests share."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest


@pytest.fixture(autouse=True, scope="module")
def _a_processor_each(request: pytest.FixtureRequest) -> Iterator[None]:
    """Where tests run side by side the command keeps to one processor, but in modules that say `ALL_PROCESSORS`."""
    with pytest.MonkeyPatch.context() as patch:
        if "PYTEST_XDIST_WORKER" in os.environ and not getattr(request.module, "ALL_PROCESSORS", False):
            patch.setenv("PYTHON_CPU_COUNT", "1")
        yield
