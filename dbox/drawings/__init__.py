"""Results in, matplotlib figures out; nothing here computes."""

import os

from dbox.errors import ScenarioError, show

try:
    import matplotlib  # noqa: F401
except ValueError as error:
    # it reads the name of a window system as it is loaded
    raise ScenarioError(
        f"MPLBACKEND is {show(os.environ.get('MPLBACKEND'))}, unknown to matplotlib; unset it"
    ) from error
