"""The table of faults, and a fault planted in the text of its file."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

TABLE = Path(__file__).with_name("table.toml")


@dataclass(frozen=True, kw_only=True)
class Mutant:
    """A line of a file as it stands and as the fault leaves it, and what is wrong then."""

    file: str
    old: str
    new: str
    why: str

    def planted(self, text: str) -> str:
        """The file's text with the fault; refused where the line is not found exactly once."""
        found = [line.strip() for line in text.splitlines()].count(self.old)
        if found != 1 or text.count(self.old) != 1 or self.new == self.old:
            raise ValueError(f"{self.file}: found {found} times, not once: {self.old}")
        return text.replace(self.old, self.new)


def mutants() -> list[Mutant]:
    """Every fault of the table, in its order."""
    return [Mutant(**row) for row in tomllib.loads(TABLE.read_text())["mutant"]]
