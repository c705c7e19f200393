"""One picture: its limb, its tone, its north-up disc."""
