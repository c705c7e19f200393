"""`python -m archive` is the `northlimb` command."""

from archive.start import run

# Worker processes import this module again under another name; only the command itself runs.
if __name__ == "__main__":
    run()
