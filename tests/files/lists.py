"""Lists of boxes as tests write them, and what is set for all of them."""

from dbox.files.list_boxes import boxes_of, read_settings
from dbox.files.list_rows import read_heads, read_rows

INCH = 0.0254
SETTINGS = read_settings(
    opening="circle 2 in", offset="1/2 in", tolerance="10 %", spread="1 mm", flows=["1 gpm"],
    samples=100, shares=True,
)  # fmt: skip


def listed(*lines, settings=SETTINGS):
    layout, above = read_heads([line + "\n" for line in lines[:2]])
    rows = read_rows("\n".join(lines[above:]), above + 1, layout)
    return boxes_of(*rows, layout, settings)
