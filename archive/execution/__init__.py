"""Executors: this process, processes of this computer, or a Dask cluster; and progress."""
