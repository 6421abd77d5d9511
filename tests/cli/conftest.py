"""How the command tests run a command: in this process, streams apart."""

from collections.abc import Callable

import pytest

from dbox.fieldwork.setup import Rules
from dbox_cli.main import run

FEW = {
    **dict.fromkeys(("split", "level", "pour"), ("--samples", "200")),
    "diagnose": ("--draws", "100"),
}


@pytest.fixture
def dbox(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., tuple[int, str, str]]:
    """Run the command as its entry point does; give exit code, stdout and stderr.

    Few boxes are drawn for the bands, which take most of the time, unless a test asks for more.
    """

    # a set-up has no such option
    monkeypatch.setitem(Rules.__init__.__kwdefaults__, "samples", 400)

    def call(*arguments: str) -> tuple[int, str, str]:
        few = FEW.get("".join(arguments[:1]), ())
        few = () if few[:1] and few[0] in arguments else few
        monkeypatch.setattr("sys.argv", ["dbox", *arguments, *few])
        with pytest.raises(SystemExit) as stop:
            run()
        out, err = capsys.readouterr()
        code = stop.value.code
        return (code if isinstance(code, int) else 0 if code is None else 1), out, err

    return call
