"""One line is wet, the others are dry: which cause, how sure, and what to look at next."""
