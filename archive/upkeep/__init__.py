"""Maintenance of an archive: verifying, restoring, removing, amending, exporting."""
