"""What would go wrong on paper: words on words, words off the page, letters too small."""

from functools import lru_cache

import numpy as np
from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Text
from matplotlib.transforms import Bbox

TOUCH = 0.5
"""Overlap that is none: a fraction of a dot of the screen. [dots]"""

ON_PLATES = ("?", "fixed", "capped")
"""Words that cover the end of the leader that points at them."""


@lru_cache(4)
def words(figure: Figure) -> dict[Text, Bbox]:
    """Every text that can be seen, once drawn, with the room it takes. [dots]

    Drawn on a scrap of canvas, where the figure finds its places but leaves no dots; and no figure
    is kept here for longer than the next checks of it.
    """
    renderer = RendererAgg(8, 8, figure.dpi)
    figure.draw(renderer)
    texts = [t for t in figure.findobj(Text) if isinstance(t, Text) and seen(t)]
    return {t: t.get_window_extent(renderer) for t in texts}


def seen(text: Text) -> bool:
    """Whether a text has letters and is not hidden."""
    return bool(text.get_visible() and text.get_text().strip())


def overlaps(figure: Figure) -> list[tuple[str, str]]:
    """Pairs of texts that lie on one another."""
    texts = [text.get_text() for text in words(figure)]
    room = np.array([box.extents for box in words(figure).values()]).reshape(-1, 4)
    on_others = np.triu(np.all(shared(room, room) > TOUCH, axis=-1), k=1)
    return [(texts[i], texts[k]) for i, k in np.argwhere(on_others)]


def shared(ones: np.ndarray, others: np.ndarray) -> np.ndarray:
    """How wide and high the room is that each of some shares with each of others. [dots]"""
    low = np.maximum(ones[:, None, :2], others[None, :, :2])
    high = np.minimum(ones[:, None, 2:], others[None, :, 2:])
    return high - low


def off_page(figure: Figure) -> list[str]:
    """Texts that reach over the edge of the page."""
    page = figure.bbox
    return [
        text.get_text()
        for text, box in words(figure).items()
        if box.x0 < page.x0 or box.y0 < page.y0 or box.x1 > page.x1 or box.y1 > page.y1
    ]


def struck_through(figure: Figure) -> list[tuple[str, str]]:
    """Texts that a leader runs through."""
    boxes = {t: b for t, b in words(figure).items() if t.get_text() not in ON_PLATES}
    leaders = [line for line in lines(figure) if str(line.get_label()).startswith("leader ")]
    return [
        (str(line.get_label()), text.get_text())
        for line in leaders
        for text, box in boxes.items()
        if line.get_transform().transform_path(line.get_path()).intersects_bbox(box, filled=False)
    ]


def smallest(figure: Figure) -> float:
    """Size of the smallest letters. [pt]"""
    return min(text.get_fontsize() for text in words(figure))


def lines(figure: Figure) -> list[Line2D]:
    """Every line of a figure."""
    return [a for a in figure.findobj(Line2D) if isinstance(a, Line2D)]


def named(figure: Figure, kind: type[Artist], label: str) -> list[Artist]:
    """Artists of a kind that carry a label."""
    return [a for a in figure.findobj(kind) if a.get_label() == label]


def texts(figure: Figure) -> list[str]:
    """What is written, text by text."""
    return [text.get_text() for text in words(figure)]
