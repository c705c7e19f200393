"""The commands' work: joins the rooms that compute with those that keep files."""
