"""Drawn pictures of the Sun with known truth; independent of the package that the tests judge."""
