"""Reports about days, months and captures; factors and official numbers."""
