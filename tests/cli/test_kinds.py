"""Every kind of opening goes all the way: typed, split, drawn, printed, diagnosed."""

import pytest

from dbox.drawings.paper_parts import opening_text
from dbox.files.typed import opening_from_text
from dbox.hydraulics.openings import KINDS


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_of_opening_has_its_words_its_outline_and_its_sizes(kind):
    opening = opening_from_text(KINDS[kind].example)
    assert opening_text(opening)
    corners = opening.outline(0.02)
    assert corners[:, 1].min() == pytest.approx(0.0, abs=1e-12)
    larger, smaller = opening.widened(1.1), opening.widened(0.9)
    assert type(larger) is type(opening)
    assert larger.discharge(0.01) > opening.discharge(0.01) > smaller.discharge(0.01)


@pytest.mark.everyday(1)
@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_of_opening_is_split_and_drawn_by_the_command(dbox, tmp_path, kind):
    picture = tmp_path / "box.png"
    code, said, _ = dbox("split", "--heights", "0, 1/8", "--opening", KINDS[kind].example,
                         "--picture", str(picture))  # fmt: skip
    assert code == 0
    assert "Outlet 1 gets" in said
    assert picture.read_bytes().startswith(b"\x89PNG")
