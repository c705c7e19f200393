"""Answers on the command line about days, months and captures."""
