"""Filing of pictures in an archive."""
