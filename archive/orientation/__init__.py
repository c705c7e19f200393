"""The direction of solar north: one module per kind of evidence, and their combination."""
