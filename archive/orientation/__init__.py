"""Which way solar north lies: evidence, one module a kind, and its combination."""
