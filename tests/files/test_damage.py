"""No damaged file gives a traceback, a hang or a number made of nothing."""

import math
import time
from pathlib import Path

import pytest

from dbox.errors import ScenarioError
from dbox.fieldwork.site import Site
from dbox.files.scenario import load
from tests.files.damage import damaged

COUNTS = (250, pytest.param(1000, marks=pytest.mark.slow))
SLOWEST = 2.0
FEWEST_REFUSED = 0.6


def read_outcome(path: Path) -> Site | ScenarioError:
    try:
        return load(path)
    except ScenarioError as error:
        return error


def is_sound(site: Site) -> bool:
    """A site may only hold finite numbers, and outlets that water can pass."""
    lengths = [r for outlet in site.outlets for r in outlet.readings]
    lengths += [flow.inflow for flow in site.flows]
    lengths += [outlet.opening.top for outlet in site.outlets if outlet.opening.top != math.inf]
    return bool(site.outlets) and all(math.isfinite(x) and abs(x) < 2 for x in lengths)


@pytest.mark.parametrize("count", COUNTS)
def test_damaged_files_are_refused_with_reasons_or_read_whole(tmp_path: Path, count: int) -> None:
    """Exact: whatever is done to a file, it is refused by name or makes a sound site."""
    path = tmp_path / "hurt.toml"
    refused = 0
    for number, content in enumerate(damaged(count, seed=20240611)):
        path.write_bytes(content)
        begin = time.perf_counter()
        outcome = read_outcome(path)
        assert time.perf_counter() - begin < SLOWEST, f"file {number} took too long"
        if isinstance(outcome, ScenarioError):
            refused += 1
            assert outcome.faults, f"file {number} was refused without a reason"
            for fault in outcome.faults:
                assert fault.startswith(f"{path}: "), f"file {number}: {fault}"
                assert len(fault) < len(str(path)) + 300, f"file {number}: {fault}"
                assert fault.isprintable(), f"file {number}: {fault!r}"
        else:
            assert is_sound(outcome), f"file {number}"
    assert refused > FEWEST_REFUSED * count


def test_the_same_seed_gives_the_same_damage() -> None:
    """Exact: a broken file can be made again from its number."""
    assert list(damaged(20, seed=3)) == list(damaged(20, seed=3))


@pytest.mark.parametrize(
    "content",
    [
        b"a." * 100_000,
        b"." * 190_000,
        b"[" * 190_000,
        b"x = {a=" * 25_000,
        b"x = '''" + b"\n" * 190_000,
        b"[[outlet]]\n" * 17_000,
        b"\n".join(b"k%d = 1" % i for i in range(17_000)),
        b"[[outlet]]\nreading = [" + b"0," * 90_000 + b"]",
        (b".".join([b"a"] * 190) + b"=1\n") * 480,
        b"[a]\n" + b"".join(b"[a.b%d]\n" % i for i in range(15_000)),
        b"x = 0x" + b"f" * 190_000,
        b"\x00" * 190_000,
    ],
    ids=range(12),
)
def test_files_made_to_be_slow_are_refused_in_time(tmp_path: Path, content: bytes) -> None:
    """Exact: none of them is a scenario."""
    path = tmp_path / "slow.toml"
    path.write_bytes(content)
    begin = time.perf_counter()
    assert isinstance(read_outcome(path), ScenarioError)
    assert time.perf_counter() - begin < SLOWEST
