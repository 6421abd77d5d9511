"""Results in words and in JSON, for a terminal, a page or a program."""
