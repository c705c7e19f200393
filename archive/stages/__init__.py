"""The stages from records to site, a module each; `archive.pipeline` puts them in order."""
