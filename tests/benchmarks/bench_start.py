"""What `northlimb --help` costs beside an empty Python. Run: ``python tests/benchmarks/bench_start.py``.

In processor time, which other work on the same computer disturbs less than time by the clock (Unix only).
"""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys

# What the installed command runs: `python -m` would add its own search for the module.
ENTRY = "import sys; sys.argv = ['northlimb', '--help']; from archive.start import run; run()"
PAIRS, LIMIT = 41, 5


def main() -> None:
    seconds("-c", ENTRY)
    pairs = [(seconds("-c", ENTRY), seconds("-c", "pass")) for _ in range(PAIRS)]
    ratio = statistics.median(help_s / empty_s for help_s, empty_s in pairs)
    print(f"northlimb --help costs {ratio:.2f} times python -c pass (median of {PAIRS} pairs; limit {LIMIT})")


def seconds(*arguments: str) -> float:
    """Return the processor time of a Python process of its own."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


if __name__ == "__main__":
    main()
