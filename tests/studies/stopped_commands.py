"""The figures of `test_kill_study` as JSON: ``python -m studies.stopped_commands SCRATCH [full]``."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from studies.killed_commands import killings, prepared
from studies.refused_commands import refusals

import archive.films.film

SEED = 20260603

if __name__ == "__main__":
    scratch, every = Path(sys.argv[1]), sys.argv[2:] == ["full"]
    if not every:  # one more file of a film, whose bytes take longer than all else
        archive.films.film.has_av1 = lambda: False
    cases = prepared(scratch)
    figures = {
        "killed": killings(cases, scratch, 300 if every else 4, SEED),
        "refused": refusals(cases, scratch, every=every),
    }
    print(json.dumps(figures, indent=1))
