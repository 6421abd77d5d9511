"""The errors that the package raises on purpose, anything else being a bug; and its warning.

Each is also the builtin error a caller would expect, so `except ValueError` works.
"""


class DboxError(Exception):
    """Base of every error raised on purpose."""


class ScenarioError(DboxError, ValueError):
    """What a person wrote cannot be read; carries every fault found, not only the first.

    Parameters
    ----------
    faults : sequence of str
        One line per fault: where it is, the value as written, and the mend.
    """

    def __init__(self, *faults: str) -> None:
        super().__init__("\n".join(faults))
        self.faults: tuple[str, ...] = faults


class DomainError(DboxError, ValueError):
    """A number that has no physical meaning where it was given."""


class SolveError(DboxError, RuntimeError):
    """A solver that did not reach its tolerance; the message gives bracket and residual."""


class LetterWarning(UserWarning):
    """Letters of a title or label that no font of this machine has, so that a mark is drawn."""
