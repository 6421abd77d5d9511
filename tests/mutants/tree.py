"""A copy of the tree, to plant faults in, and what its tests say of it."""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).parents[2]
MOST_SECONDS = 900.0


def copy_to(tree: Path) -> None:
    """Copy what git has, or would take, as it stands here."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    for name in set(listed.split("\0")) - {""}:
        if (ROOT / name).is_file():
            (tree / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, tree / name)


def failing(tree: Path, tests: Sequence[str], **environment: str) -> str:
    """Name of the first test that fails in a tree; nothing where all pass."""
    line = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider",
            "-p", "tests.mutants.unshrunk", *tests]  # fmt: skip
    # no bytecode: a fault as long as what it replaces, planted within a second, would not be seen
    apart = {"PYTHONPATH": f"{tree}:{tree / 'cli'}", "PYTHONDONTWRITEBYTECODE": "1", **environment}
    try:
        run = subprocess.run(
            line, cwd=tree, env={**os.environ, **apart},
            capture_output=True, text=True, timeout=MOST_SECONDS, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return f"no end after {MOST_SECONDS:.0f} s"
    if run.returncode == 0:
        return ""
    told = re.search(r"^(?:FAILED|ERROR) (.+?)(?: - |$)", run.stdout, re.MULTILINE)
    if told is None:
        raise RuntimeError(f"pytest ended with {run.returncode}:\n{run.stdout}{run.stderr}")
    return told[1]
