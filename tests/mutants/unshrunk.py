"""A pytest plugin for runs that fail on purpose: the same draws each time, not made smaller.

Making a failing example smaller can take minutes and tells nothing here.
"""

from hypothesis import Phase, settings


def pytest_configure() -> None:
    phases = (Phase.explicit, Phase.generate)
    settings.register_profile("unshrunk", deadline=None, derandomize=True, phases=phases)
    settings.load_profile("unshrunk")
