"""The desk: pages on this computer alone, to work on an archive by pointing and by forms."""
