"""The falls of the pipes from rod readings."""
