"""What share does each line get, at which flow, and how sure is that? On one sheet."""

from matplotlib.figure import Figure

from dbox.drawings.lettering import joined
from dbox.drawings.lip_table import ROW_GAP, Row, lip_rows, write_rows
from dbox.drawings.shares import KEY_ROOM, draw_key, draw_strips
from dbox.drawings.style import HEADING_ROOM, MOST_FLOWS, MOST_OUTLETS, Sheet, pens
from dbox.drawings.wall import NAME_GAP, View, draw_section, name_waters
from dbox.errors import DomainError
from dbox.fieldwork.confidence import Assessment
from dbox.fieldwork.site import Site
from dbox.files.notation import percent

_SCALE_ROOM, _NAME_ROOM = 0.82, 1.85
_GAP = 0.1
_LEAST_STRIP, _MOST_STRIP = 0.6, 2.0
_MOST_SECTION = 4.2


@pens
def split_figure(site: Site, assessment: Assessment) -> Figure:
    """Draw the box in section over the shares of its outlets at every flow.

    Parameters
    ----------
    site : Site
        The box; which of its outlets are capped, and who says what is allowed.
    assessment : Assessment
        Its shares.

    Returns
    -------
    Figure
        One sheet, upright, that fits Letter and A4.

    Raises
    ------
    DomainError
        Where the assessment is of another box, or there are more than 20 outlets.

    Notes
    -----
    Six flows are drawn; where there are more, the sheet says which were left out.
    """
    n = len(site.outlets)
    if n > MOST_OUTLETS:
        raise DomainError(f"{n} outlets: a drawing holds at most {MOST_OUTLETS}")
    if tuple(o.label for o in site.outlets) != assessment.labels:
        raise DomainError("the assessment is of another box: its outlets have other labels")
    flows = min(len(assessment.names), MOST_FLOWS)
    sheet = Sheet.blank()
    sheet.head(site.title or "How a distribution box splits its flow")
    sheet.foot(_notes(site, assessment))
    left, right = sheet.left + _SCALE_ROOM, sheet.right - _NAME_ROOM
    column = (right - left) / n
    rows = lip_rows(assessment, column)
    section, strip = _heights(sheet.top - sheet.bottom, flows, rows)
    view = View.of(assessment, column, section)
    sheet.heading("Section, seen from the inlet", _about(view))
    axes = sheet.axes(left, right, sheet.top - section, sheet.top)
    draw_section(axes, assessment, [o.capped for o in site.outlets], view)
    name_waters(sheet, axes, assessment, right)
    sheet.top -= section + _GAP
    write_rows(sheet, rows, left, column)
    sheet.top -= _GAP
    sheet.heading("Share of each line against its target", _about_verdicts(assessment))
    draw_key(sheet, assessment)
    draw_strips(sheet, assessment, flows, strip, left, right)
    return sheet.figure


def _heights(free: float, flows: int, rows: list[Row]) -> tuple[float, float]:
    """Height of the section and of each strip on paper. [in]"""
    free -= 2.0 * (HEADING_ROOM + _GAP) + KEY_ROOM + sum(row.depth + ROW_GAP for row in rows)
    most = (free - (flows + 1.5) * NAME_GAP) / flows
    strip = min(max(0.6 * free / flows, _LEAST_STRIP), _MOST_STRIP, most)
    return min(free - flows * strip, _MOST_SECTION), strip


def _about(view: View) -> str:
    stretch = f"{view.stretch:.1f}".removesuffix(".0")
    scale = f"heights drawn {stretch} times the widths"
    if stretch == "1":
        scale = "heights and widths to one scale"
    about = f"outlets side by side; {scale}"
    return f"{about}; holes go on above" if view.cuts_off else about


def _about_verdicts(assessment: Assessment) -> str:
    if assessment.tolerance is None:
        return ""
    allowed = percent(assessment.tolerance, 0)
    return f"in brackets: chance that every line is within {allowed} of its target"


def _notes(site: Site, assessment: Assessment) -> list[str]:
    notes = joined(assessment.warnings)
    if site.tolerance and site.tolerance.source:
        notes.append(f"tolerance from: {site.tolerance.source}")
    left_out = assessment.names[MOST_FLOWS:]
    if left_out:
        notes.append(f"not drawn, for want of room: flow {', '.join(left_out)}")
    return notes
