"""Groups of commands that the command line is put together from."""
