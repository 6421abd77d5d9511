"""The scenarios that come with the package: found by name, sound, and what they say they are."""

from pathlib import Path

import numpy as np
import pytest

from dbox.errors import ScenarioError
from dbox.fieldwork.site import Site
from dbox.files.scenario import load, resolve, shipped_names
from dbox.hydraulics.openings import Circle

NAMES = (
    "dry-line",
    "family-of-four",
    "first-of-two",
    "full-job",
    "off-level",
    "pour-test",
    "second-of-two",
    "tilted-curable",
    "tilted-rebed",
    "unequal-lines",
    "wet-line",
)
INCH = 0.0254


def pipe_centres(site: Site) -> np.ndarray:
    """Heights of the pipes' centres over still water: lip + e cos(a) + r. [m]"""
    heights = []
    for outlet in site.outlets:
        assert isinstance(outlet.opening, Circle)
        lip = sum(outlet.readings) / len(outlet.readings) - outlet.point_over_lip
        rise = outlet.hole_offset * np.cos(outlet.clock)
        heights.append(lip + rise + outlet.opening.diameter / 2)
    return np.array(heights)


def test_all_scenarios_are_shipped() -> None:
    assert shipped_names() == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_shipped_scenarios_load_and_say_that_they_are_invented(name: str) -> None:
    path = resolve(name)
    assert resolve(f"{name}.toml") == path
    assert path.read_text(encoding="utf-8").startswith("# INVENTED DATA")
    site = load(path)
    assert "invented" in site.title
    assert site.tolerance.source == "invented for this example"
    assert all(outlet.readings and outlet.position for outlet in site.outlets)


@pytest.mark.parametrize("name", NAMES)
def test_outlets_stand_on_the_walls_clockwise_from_the_inlet(name: str) -> None:
    """Exact: left wall going away, far wall to the right, right wall coming back."""
    site = load(resolve(name))
    along, across = site.box.inside
    x, y = np.array([outlet.position for outlet in site.outlets]).T
    assert np.all(np.isclose(y, 0) | np.isclose(x, along) | np.isclose(y, across))
    bearing = np.unwrap(np.arctan2(y - across / 2, x - along / 2))
    assert np.all(np.diff(bearing) > 0)


@pytest.mark.parametrize("name", NAMES)
def test_readings_and_clock_positions_fit_one_tilted_box(name: str) -> None:
    """Exact: the pipes' centres lie in a plane, within seating and a ruler's sixteenth."""
    site = load(resolve(name))
    x, y = np.array([outlet.position for outlet in site.outlets]).T
    plane = np.column_stack([np.ones_like(x), x, y])
    centres = pipe_centres(site)
    fit, *_ = np.linalg.lstsq(plane, centres, rcond=None)
    assert np.max(np.abs(plane @ fit - centres)) < INCH / 16


@pytest.mark.parametrize(
    ("name", "curable"),
    [("off-level", True), ("tilted-curable", True), ("tilted-rebed", False)],
)
def test_inserts_cure_what_the_name_says(name: str, curable: bool) -> None:
    """Exact: holes can meet at one height where the pipes differ by less than the travel 2 e."""
    site = load(resolve(name))
    assert (np.ptp(pipe_centres(site)) < 2 * site.outlets[0].hole_offset) == curable


def test_water_stands_at_the_lowest_lip_of_each_shipped_box() -> None:
    """Exact: a box filled till it just spills comes to rest there, within a reading's spread."""
    for name in NAMES:
        site = load(resolve(name))
        lowest = min(min(outlet.readings) for outlet in site.outlets)
        assert abs(lowest) <= site.spread


def test_a_file_wins_over_a_shipped_scenario(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "off-level").write_text("mine")
    assert resolve("off-level") == Path("off-level")
    assert resolve(str(tmp_path)) == tmp_path


@pytest.mark.parametrize("name", ["of-level", "none.toml", "", "a\0b", "x" * 5000])
def test_unknown_names_list_what_is_shipped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(ScenarioError) as caught:
        resolve(name)
    assert all(shipped in str(caught.value) for shipped in NAMES)
    if name == "of-level":
        assert "did you mean off-level?" in str(caught.value)
