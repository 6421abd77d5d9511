"""The turn table of an insert: clock position against lip height."""

import numpy as np
import pytest

from dbox.errors import DomainError
from dbox.fieldwork.turning import turn_tables
from tests.fieldwork.sites import INCH, box


def test_bottom_quarter_and_top():
    (table,) = turn_tables(box([0.0] * 4))
    assert table.labels == ("1", "2", "3", "4")
    assert table.angle.size == 25
    assert table.rise[[0, 12, 24]] == pytest.approx([0, 0.5 * INCH, INCH], abs=1e-15)
    assert np.all(np.diff(table.rise) > 0)


def test_inserts_of_different_offsets_have_tables_of_their_own():
    site = box([0.0] * 4, offset=[0.01, 0.02, None, 0.01], capped=(3,))
    tables = turn_tables(site)
    assert [(t.labels, t.offset) for t in tables] == [(("1",), 0.01), (("2",), 0.02)]
    assert turn_tables(box([0.0], offset=None)) == ()


@pytest.mark.parametrize("step", [0.0, -1.0, np.nan, 4.0])
def test_a_step_that_makes_no_table_is_refused(step):
    with pytest.raises(DomainError, match="step of a turn table"):
        turn_tables(box([0.0]), step=step)


def test_a_step_that_does_not_go_into_half_a_turn_ends_at_the_top():
    (table,) = turn_tables(box([0.0]), step=1.0)
    assert table.angle.tolist() == [0.0, 1.0, 2.0, 3.0, np.pi]
