"""Keep many weeks of the study in one file, to try a solver on: ``PYTHONPATH=tests python -m studies.save_weeks FILE``.

The file is a pickle of plain values: {"a": [(pictures, north angles in degrees, mirrored), ...], ...}, a picture being
a dictionary with the names of `SpottedPicture`. Families: a drawn, b the same each turned, c real, d hard; under
"kinds" what is special about each week. Their numbers are not those of the study, so that it judges on weeks that
nobody tuned on; real fortnights share their pictures with it all the same.
"""

from __future__ import annotations

import pickle
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

from studies.real_weeks import REAL, real_fortnight
from studies.weeks import Week, drawn_week, hard_week, turned_at_random

FIRST = 10_000


def plain(week: Week) -> tuple[list[dict[str, Any]], list[float], bool]:
    return [asdict(picture) for picture in week.pictures], list(week.north_angles_deg), week.mirrored


def main(file: Path) -> None:
    drawn = [drawn_week(number) for number in range(FIRST, FIRST + 40)]
    families = {
        "a": drawn,
        "b": [turned_at_random(week, number) for number, week in enumerate(drawn, FIRST)],
        "c": [real_fortnight(number) for number in range(FIRST, FIRST + 12)] if REAL.is_dir() else [],
        "d": [hard_week(number) for number in range(FIRST, FIRST + 63)],
    }
    kept: dict[str, Any] = {name: [plain(week) for week in weeks] for name, weeks in families.items()}
    kept["kinds"] = {name: [week.kind for week in weeks] for name, weeks in families.items()}
    file.write_bytes(pickle.dumps(kept))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
