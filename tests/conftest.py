"""How hypothesis draws: without a time limit, and the same in every run of CI.

A slow machine is no fault of the code. New examples are drawn wherever a person runs the tests; CI
judges a change and must give the same verdict twice. `longer` draws more of them.
"""

import os

from hypothesis import settings

everyday = settings(deadline=None, derandomize="CI" in os.environ, max_examples=40)
settings.register_profile("longer", everyday, max_examples=200)
settings.register_profile("everyday", everyday)
settings.load_profile("everyday")

collect_ignore = ["benchmarks", "mutants"]
"""Run by their own names and heavy to import; no test and no example stands in them."""
