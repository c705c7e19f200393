"""What the observer owns on disk: settings, records, notes, checksums, and the journal of changes."""
