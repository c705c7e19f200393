"""What is kept on disk: settings, records, checksums, derived values."""
