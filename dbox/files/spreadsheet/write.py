"""How are readings and catches handed to a spreadsheet? CSV that `tables` reads again.

Cells are parted by commas, decimals have a point, and numbers stand without a unit under a head
that gives it, so that a spreadsheet takes them as numbers. A byte order mark goes in front only
where a label needs it.
"""

import csv
import io
from collections.abc import Iterable, Sequence

from dbox.fieldwork.records.poured import Pour
from dbox.fieldwork.site import Site
from dbox.files import units
from dbox.files.spreadsheet.tables import OUTLET, READING


def readings_csv(site: Site) -> str:
    """Write the readings of a site as a table that `with_readings` reads.

    Parameters
    ----------
    site : Site
        The box; the heights written are those of the point that was read.

    Returns
    -------
    str
        Millimetres, cells parted by commas; at least one column of readings.
    """
    most = max(1, *(len(o.readings) for o in site.outlets))
    heads = [
        OUTLET,
        *(f"{READING} {i} (mm)" if most > 1 else "reading (mm)" for i in range(1, most + 1)),
    ]
    rows = []
    for outlet in site.outlets:
        told = [_number(1000 * r) for r in outlet.readings]
        rows.append([outlet.label, *told, *[""] * (most - len(told))])
    return _csv_text(heads, rows)


def catches_csv(pours: Sequence[Pour], labels: Sequence[str]) -> str:
    """Write pours as a table that `with_catches` reads, empty where nothing was caught.

    Parameters
    ----------
    pours : sequence of Pour
        The pours.
    labels : sequence of str
        Labels of the outlets, in their order.

    Returns
    -------
    str
        Catches in L/min, cells parted by commas. The head of a pour yet to be done says `(s)` where
        it has a jug, and no unit where it has none.
    """
    heads, columns = [OUTLET], []
    for pour in pours:
        unit = " (L/min)" if pour.done else " (s)" if pour.jug else ""
        heads.append(f"{pour.name}{unit}")
        caught = pour.catches or (None,) * len(labels)
        columns.append(
            ["" if q is None else _number(q * units.MINUTE / units.LITRE) for q in caught]
        )
    return _csv_text(
        heads, [[label, *cells] for label, *cells in zip(labels, *columns, strict=True)]
    )


def _number(value: float) -> str:
    return f"{value:.12f}".rstrip("0").rstrip(".")


def _csv_text(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(heads)
    writer.writerows(rows)
    content = text.getvalue()
    return content if content.isascii() else f"\ufeff{content}"
