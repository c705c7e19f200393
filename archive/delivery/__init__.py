"""The finished site on its way to people: published, previewed, and what the user allows an archive to do."""
