"""Pictures taken into an archive: what is said of them, looked at, and filed."""
