"""Reports about days, months and captures."""
