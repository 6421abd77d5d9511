"""What share has each line had so far, against its target? Bars under the box."""

import numpy as np
from matplotlib.artist import Artist
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.text import Text

from dbox.arrays import Array
from dbox.drawings.lettering import text_width
from dbox.drawings.style import INK, SMALL, TARGET, THIN, TINT, Sheet
from dbox.fieldwork.surge.run import Outcome

_BAR = 0.56

NUMBER_ROOM = 0.2
"""Paper for the numbers under the bars. [in]"""


class ShareView:
    """Bars of the shares, one under each outlet's column.

    Parameters
    ----------
    sheet : Sheet
        The page.
    outcome : Outcome
        The run and its targets.
    first, column : float
        Middle of the first column, and width of one. [in]
    bottom, top : float
        Of bars, and numbers under them, on the page. [in]
    whole : float
        Share that a bar of full height stands for. [-]
    """

    def __init__(
        self,
        sheet: Sheet,
        outcome: Outcome,
        first: float,
        column: float,
        bottom: float,
        top: float,
        whole: float,
    ) -> None:
        n = len(outcome.labels)
        self.axes = sheet.axes(
            first - 0.5 * column, first + (n - 0.5) * column, bottom + NUMBER_ROOM, top
        )
        self.axes.set(xlim=(-0.5, n - 0.5), ylim=(0.0, whole))
        for side in ("left", "right", "top"):
            self.axes.spines[side].set_visible(False)
        self.axes.set(xticks=[], yticks=[])
        self.sign = " %" if text_width("100 %", SMALL) < column else ""
        self.bars: list[Rectangle] = []
        self.targets: list[Line2D] = []
        self.numbers: list[Text | None] = []
        for i, target in enumerate(outcome.target):
            self._column(i, outcome.labels[i], float(target), outcome.site.outlets[i].capped)

    def _column(self, i: int, label: str, target: float, capped: bool) -> None:
        bar = Rectangle((i - 0.5 * _BAR, 0.0), _BAR, 0.0, facecolor=TINT, edgecolor=INK,
                        linewidth=THIN, zorder=2)  # fmt: skip
        bar.set_label(f"share {label}")
        self.axes.add_patch(bar)
        half = 0.42
        if not capped:
            self.targets += self.axes.plot(
                (i - half, i + half), (target, target), color=INK, linewidth=TARGET,
                linestyle=(0, (3, 1.2)), label=f"target {label}", zorder=3,
            )  # fmt: skip
        closed = "capped" if self.sign else "cap"
        below = -0.04 * self.axes.get_ylim()[1]
        number = self.axes.text(i, below, closed if capped else "", ha="center", va="top",
                                fontsize=SMALL)  # fmt: skip
        self.bars.append(bar)
        self.numbers.append(None if capped else number)

    @property
    def moving(self) -> list[Artist]:
        """What changes from one moment to the next."""
        # targets stand still, but lie before the bars
        floor = self.axes.spines["bottom"]
        return [
            *self.bars,
            floor,
            *self.targets,
            *(number for number in self.numbers if number is not None),
        ]

    def show(self, share: Array) -> None:
        """Set the bars.

        Parameters
        ----------
        share : ndarray, shape (n,)
            Share of each line so far. [-]
        """
        for bar, number, part in zip(self.bars, self.numbers, share, strict=True):
            bar.set_height(part)
            if number is not None:
                number.set_text(f"{round(100 * part)}{self.sign}")


def full_bar(*outcomes: Outcome) -> float:
    """Share that the highest bar of some runs needs, and twice the target at least. [-]

    Parameters
    ----------
    *outcomes : Outcome
        One or more.
    """
    most = max(2.0 * float(o.target.max()) for o in outcomes)
    for outcome in outcomes:
        share = outcome.surge.running_share
        # the first water all goes to one line; its bar may then be cut off
        late = outcome.surge.volume.sum(1) > 0.1 * outcome.surge.volume[-1].sum()
        most = max(most, float(np.max(share[late], initial=0.0)))
    return min(1.05 * most, 1.0)
