"""What `northlimb --help` costs beside an empty Python. Run: ``python tests/benchmarks/bench_start.py``."""

from __future__ import annotations

import subprocess
import sys
import time

# What the installed command runs: `python -m` would add its own search for the module.
ENTRY = "import sys; sys.argv = ['northlimb', '--help']; from archive.cli import run; run()"


def main() -> None:
    ratios = sorted(seconds("-c", ENTRY) / seconds("-c", "pass") for _ in range(15))
    print(f"northlimb --help costs {ratios[7]:.2f} times python -c pass (median of 15 pairs; limit 5)")


def seconds(*arguments: str) -> float:
    started = time.perf_counter()
    subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - started


if __name__ == "__main__":
    main()
