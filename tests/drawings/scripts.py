"""Parts of a page that need no browser, in an engine of their own."""

import json
from typing import Any

from py_mini_racer import MiniRacer

from dbox.drawings.phone_page import script


class Script:
    """Parts of a page, loaded in their order as the page does, but without a document."""

    def __init__(self, *names: str) -> None:
        self._engine = MiniRacer()
        for name in names:
            self._engine.eval(script(name))

    def call(self, function: str, *arguments: Any) -> Any:
        """What a function of the page makes of some values; of infinite ones it makes null."""
        told = ", ".join(json.dumps(each, allow_nan=False) for each in arguments)
        return json.loads(self._engine.eval(f"JSON.stringify({function}({told}))"))
