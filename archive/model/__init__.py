"""The values that rooms hand to each other, and the few rules that all of them share."""
