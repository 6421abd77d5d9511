"""How hypothesis draws: without a time limit, and the same in every run of CI.

A slow machine is no fault of the code. New examples are drawn wherever a person runs the tests; CI
judges a change and must give the same verdict twice.
"""

import os

from hypothesis import settings

settings.register_profile("person", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "person")
