"""Tank, pipe and trenches as text: their tables, command line and results."""
