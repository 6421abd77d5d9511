"""A set-up in a real pseudo-terminal, and an installer at a box whose lips are known.

The box is computed here from the geometry alone: lip = pipe - e cos a, read over the lowest of
them to 1/32 in, with errors drawn from a seed. The installer knows only what the screen says.
"""

import fcntl
import os
import pty
import random
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from math import cos, pi
from pathlib import Path

ROOT = Path(__file__).parents[2]
INCH = 0.0254
OFFSET = 0.5 * INCH
PROMPT = re.compile(r"(?:^|\n)([^\n]*) > $")

BOX = """
title = "Six lines"
units = "in"
box = {inside = ["16 in", "20 in"]}
insert = {kind = "circle", diameter = "1-3/4", offset = "1/2"}
readings = {spread = "1/32"}
outlet = [{clock = "6:00"}, {clock = "6:00"}, {clock = "6:00"}, {clock = "6:00"},
          {clock = "6:00"}, {clock = "6:00"}]
tolerance = {share = "10 %", source = "permit 7"}
"""


def take_terminal() -> None:
    """Have a terminal of one's own, and heed its keys, whatever the tests themselves ignore.

    What a shell starts in the background without a terminal ignores ctrl-c, and what it starts
    by `nohup` a closed terminal; a child inherits that.
    """
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
    for sign in (signal.SIGINT, signal.SIGHUP):
        signal.signal(sign, signal.SIG_DFL)


class Terminal:
    """`dbox` with a controlling terminal of its own, of so many columns."""

    def __init__(self, *arguments: str, columns: int = 80) -> None:
        self.master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
        # the columns of whoever runs the tests are not those of this terminal
        size_of_its_own = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES")}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "dbox", *arguments],
            stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
            preexec_fn=take_terminal,
            env={**size_of_its_own, "NO_COLOR": "1", "PYTHONPATH": f"{ROOT}:{ROOT / 'cli'}"},
        )  # fmt: skip
        os.close(slave)
        self.screen = ""

    def __enter__(self) -> "Terminal":
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()
        os.close(self.master)

    def type(self, line: str | bytes) -> None:
        os.write(self.master, line.encode() if isinstance(line, str) else line)

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()

    def prompt(self, seconds: float = 30.0) -> str | None:
        """Wait for the next prompt; None where the command has ended or the time is over."""
        seen, until = "", time.monotonic() + seconds
        while time.monotonic() < until:
            if not select.select([self.master], [], [], max(until - time.monotonic(), 0.0))[0]:
                break
            try:
                piece = os.read(self.master, 65536).decode(errors="replace")
            except OSError:
                # the terminal closes with its last process
                break
            self.screen += piece.replace("\r", "")
            seen += piece.replace("\r", "")
            if found := PROMPT.search(seen):
                return found[1]
        return None

    def code(self) -> int:
        """Wait for the end and give the exit code."""
        while self.prompt() is not None:
            pass
        return self.process.wait(10)


def angle(clock: str) -> float:
    """Angle from straight down of a clock position, counted here on the face itself."""
    hour, minute = map(int, clock.split(":"))
    return ((hour % 12 + minute / 60) / 12 - 0.5) * 2 * pi


class Installer:
    """Reads the lips of a box and turns its inserts as the screen says."""

    def __init__(self, seed: int) -> None:
        rng = random.Random(seed)
        self.seed = seed
        self.angles = [0.0] * 6
        self.pipes = [rng.uniform(0.0, 0.5 * INCH) for _ in range(6)]

    @property
    def lips(self) -> list[float]:
        return [p - OFFSET * cos(a) for p, a in zip(self.pipes, self.angles, strict=True)]

    def reading(self, outlet: int) -> str:
        """Two readings of one outlet; the same box gives the same ones."""
        height = self.lips[outlet] - min(self.lips)
        rng = random.Random(f"{self.seed} {outlet} {min(self.lips):.9f}")
        each = (round((height + rng.gauss(0.0, INCH / 40)) / INCH * 32) for _ in range(2))
        return ", ".join(f"{count}/32" for count in each)

    def answer(self, prompt: str, screen: str) -> str:
        """What to type at a prompt, the inserts turned before that is said."""
        if found := re.fullmatch(r"outlet (\d)", prompt):
            return self.reading(int(found[1]) - 1)
        if prompt.startswith("turned?"):
            plan = screen[screen.rindex("Turn in this order") :]
            for outlet, clock in re.findall(r"outlet (\d): \d+:\d\d to\s+(\d+:\d\d)", plan):
                self.angles[int(outlet) - 1] = angle(clock)
        return "yes" if prompt.startswith("really?") else ""
