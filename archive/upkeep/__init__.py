"""What keeps an archive for long: verifying, restoring, removing, amending, exporting."""
