"""Who does the work: this process, processes of this computer, or a Dask cluster; and how far it has come."""
