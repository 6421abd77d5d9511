"""Would the tests notice a fault? `python -m tests.mutants` plants some, one at a time, and looks.

`table.toml` holds the faults, `table` reads it and plants one, `__main__` runs the tests on a copy
of the tree with each. A fault that no test notices is a hole in the tests, or harmless; which of
the two is written down in DEVELOPERS.md.
"""
