"""Where the Sun is and how it turns."""
