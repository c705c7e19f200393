"""A folder, a host or an archive file made to hold exactly a site."""
