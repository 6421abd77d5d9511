"""Damaged scenario files: what a slip, a bad disk, a wrong program or malice makes of a good one.

The damage is drawn from a seed, so that a file which breaks something can be made again:
`list(damaged(1000, seed=1))[417]`.
"""

import random
from collections.abc import Callable, Iterator
from pathlib import Path

SCENARIOS = Path(__file__).parents[2] / "scenarios"

JUNK_VALUES = (
    '"13/16/2 in"', '"1/0"', '"1e999"', '"nan"', "nan", "inf", "-inf", "1e308", "-1e308", "1e-320",
    "true", '""', '"5"', "5", "-5", '"25:00"', '"5 gpm"', '"3 mm"', '"60 ft"', '"-2 in"', "[]",
    "{}", "[[[]]]", '["1/8", "x"]', '"\\u0000"', '"\\n"', "06:00:00", "1979-05-27",
    "0x" + "f" * 5000, "9" * 5000, '"' + "1" * 5000 + ' in"', '"' + "1/" * 2000 + '"',
    '"' + " " * 3000 + '"', '"½ in"', '"−1/8 in"', "{a = {b = {c = 1}}}", '"circle"', '"pipe"',
    '"notch"', '"capped"', '"length"', "99999999999999999999", "0", "-0.0", '"10 %"', '"0 %"',
    '"90 deg"', '"1 in in 4 ft"',
)  # fmt: skip
"""What a value may be replaced by: of a wrong kind, absurd, endless, or right elsewhere."""

JUNK_LINES = (
    "[[outlet]]", "[outlet]", "[box", "]]", "reading = 1/8 in", "x = 1", "units = 3", "[flows]",
    "outlet = 5", "= 5", "a.b.c = 1", ".".join("a" * 150) + " = 1", ".".join("a" * 9000) + " = 1",
    "x = " + "[" * 3000, "x = " + "{a=" * 3000, '"""', "'''", "\x00", "\ufeff", "\r", 'key = "\\q"',
    "[[outlet]]\n" * 200, "[a." * 50, "[insert.deep]", "[[flows]]", "[outlet.reading]",
)  # fmt: skip
"""What may be put between two lines."""


def _swap_value(lines: list[str], draw: random.Random) -> None:
    place = draw.choice([i for i, line in enumerate(lines) if "=" in line])
    key = lines[place].partition("=")[0]
    lines[place] = f"{key}= {draw.choice(JUNK_VALUES)}"


def _exchange_values(lines: list[str], draw: random.Random) -> None:
    one, other = draw.sample([i for i, line in enumerate(lines) if "=" in line], 2)
    (key, _, value), (other_key, _, other_value) = (
        lines[place].partition("=") for place in (one, other)
    )
    lines[one], lines[other] = f"{key}={other_value}", f"{other_key}={value}"


def _misspell_key(lines: list[str], draw: random.Random) -> None:
    place = draw.choice([i for i, line in enumerate(lines) if "=" in line])
    cut = draw.randrange(1, 4)
    lines[place] = lines[place][cut:]


def _delete_line(lines: list[str], draw: random.Random) -> None:
    del lines[draw.randrange(len(lines))]


def _repeat_line(lines: list[str], draw: random.Random) -> None:
    place = draw.randrange(len(lines))
    lines.insert(place, lines[place])


def _move_line(lines: list[str], draw: random.Random) -> None:
    line = lines.pop(draw.randrange(len(lines)))
    lines.insert(draw.randrange(len(lines) + 1), line)


def _insert_junk(lines: list[str], draw: random.Random) -> None:
    lines.insert(draw.randrange(len(lines) + 1), draw.choice(JUNK_LINES))


def _flip_bytes(content: bytearray, draw: random.Random) -> None:
    for _ in range(draw.randrange(1, 6)):
        content[draw.randrange(len(content))] = draw.randrange(256)


def _cut_short(content: bytearray, draw: random.Random) -> None:
    del content[draw.randrange(len(content)) :]


def _cut_out(content: bytearray, draw: random.Random) -> None:
    start = draw.randrange(len(content))
    del content[start : start + draw.randrange(1, 200)]


def _blow_up(content: bytearray, draw: random.Random) -> None:
    place = draw.randrange(len(content))
    content[place:place] = draw.choice((b"x", b"[", b"\n", b"\x00", b"a.", b"#")) * 150_000


LINE_DAMAGE: tuple[Callable[[list[str], random.Random], None], ...] = (
    _swap_value, _swap_value, _swap_value, _exchange_values, _misspell_key, _delete_line,
    _repeat_line, _move_line, _insert_junk, _insert_junk,
)  # fmt: skip
BYTE_DAMAGE: tuple[Callable[[bytearray, random.Random], None], ...] = (
    _flip_bytes, _flip_bytes, _cut_short, _cut_out, _blow_up,
)  # fmt: skip


def damage(content: bytes, draw: random.Random) -> bytes:
    """Damage a good file once to three times."""
    lines = content.decode().split("\n")
    for _ in range(draw.randrange(1, 4)):
        draw.choice(LINE_DAMAGE)(lines, draw)
    # A lone surrogate cannot be written; nothing above makes one.
    damaged = bytearray("\n".join(lines).encode())
    if draw.random() < 0.3:
        draw.choice(BYTE_DAMAGE)(damaged, draw)
    return bytes(damaged)


def damaged(count: int, seed: int) -> Iterator[bytes]:
    """Draw damaged files from the shipped scenarios, the same ones for the same seed."""
    draw = random.Random(seed)
    good = [path.read_bytes() for path in sorted(SCENARIOS.glob("*.toml"))]
    for _ in range(count):
        yield damage(draw.choice(good), draw)
