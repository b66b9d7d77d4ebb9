"""The frames of an export worked on by the workers of a Dask scheduler (`plateline[cluster]`)."""
