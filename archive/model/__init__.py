"""The values that packages exchange, and the few rules that all of them share."""
