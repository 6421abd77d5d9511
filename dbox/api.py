"""The Python door: every job on one site, each answer with its words, its JSON and its picture.

    import dbox
    site = dbox.load("off-level")
    plan = dbox.level(site)      # its headline is its repr
    plan.report(), plan.to_dict(), plan.plot(), plan.result

All numbers are SI. Nothing heavy is imported before a job needs it.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from dbox.arrays import ArrayLike
from dbox.errors import DomainError, show
from dbox.fieldwork.shares import SAMPLES
from dbox.fieldwork.site import Site

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.figure import Figure

    from dbox.fieldwork.diagnosis.diagnose import Diagnosis
    from dbox.fieldwork.grades import Grading
    from dbox.fieldwork.levelling import Levelling
    from dbox.fieldwork.pour import Expectation
    from dbox.fieldwork.pour_fit import Explanation, Finding
    from dbox.fieldwork.series import Lines
    from dbox.fieldwork.shares import Assessment
    from dbox.fieldwork.surge import SurgeOutcome


Told = tuple[Callable[[], list[str]], Callable[[], dict[str, Any]]]
"""What makes the lines of a text, and its JSON."""


@dataclass(frozen=True, repr=False, eq=False)
class Answer(ABC):
    """What a job found at a site.

    Parameters
    ----------
    site : Site
        The box that was asked about.
    result : object
        The numbers: a frozen dataclass of arrays in SI, named and with units in its docstring.
    """

    site: Site
    result: Any

    def __repr__(self) -> str:
        """The headline: the finding in one line."""
        return self.headline

    @property
    def headline(self) -> str:
        """The first sentences of the report, on one line."""
        lines = self._told()[0]()
        said = " ".join(lines[: lines.index("")] if "" in lines else lines)
        return said.removeprefix(" ".join(self.site.title.split())).strip()

    def report(self) -> str:
        """The text that the command prints, at most 72 columns wide."""
        return "\n".join(self._told()[0]())

    def to_dict(self) -> dict[str, Any]:
        """What the command prints with --json: SI, the unit in the key."""
        return self._told()[1]()

    @abstractmethod
    def plot(self) -> "Figure":
        """The answer as a matplotlib Figure, neither shown nor saved."""

    @abstractmethod
    def _told(self) -> Told:
        """How it is told."""


@dataclass(frozen=True, repr=False, eq=False)
class Shares(Answer):
    """Shares of every outlet at each flow, with bands and verdicts; see `assess`.

    Parameters
    ----------
    lines : Lines or None
        Shares through to every line, of shape (flows, lines) [-]; None where no outlet feeds
        another box.
    """

    result: "Assessment"
    lines: "Lines | None" = None

    def plot(self) -> "Figure":
        """The box in section, with a strip of shares for each flow."""
        from dbox.drawings.split_picture import split_figure

        return split_figure(self.site, self.result)

    def _told(self) -> Told:
        from dbox.report.split_report import report, split_json

        found = (self.site, self.result, self.lines)
        return (lambda: report(*found)), (lambda: split_json(*found))


class Plan(Answer):
    """What to turn, how far and to where, or that the box must be bedded again; see `level`."""

    result: "Levelling"

    def plot(self) -> "Figure":
        """The box from above, with what is to be turned at each outlet."""
        from dbox.drawings.level_picture import level_figure

        return level_figure(self.result)

    def _told(self) -> Told:
        from dbox.report.level_report import level_json, report

        return (lambda: report(self.result)), (lambda: level_json(self.result))


@dataclass(frozen=True, repr=False, eq=False)
class PourTest(Answer):
    """What each outlet should give in a pour, and what explains the catches; see `pour`.

    Parameters
    ----------
    explanations : tuple of Explanation
        What may explain the catches, the likeliest first; empty before the pour.
    finding : Finding or None
        Whether ruler and water agree; None before the pour.
    """

    result: "Expectation"
    explanations: "tuple[Explanation, ...]" = ()
    finding: "Finding | None" = None

    def plot(self) -> "Figure":
        """Expected flows with their bands, and what was caught."""
        from dbox.drawings.answers import pour_picture

        return pour_picture(self.headline, self.result)

    def _told(self) -> Told:
        from dbox.report.pour_report import pour_json, report

        found = (self.result, self.explanations, self.finding)
        return (lambda: report(*found)), (lambda: pour_json(*found))


class Grades(Answer):
    """Falls of the pipes from rod readings; see `grades`."""

    result: "Grading"

    def plot(self) -> "Figure":
        """The profile of every run."""
        from dbox.drawings.answers import grades_figure

        return grades_figure(self.site.title, self.result)

    def _told(self) -> Told:
        from dbox.report.grades_report import grades_json, report

        return (lambda: report(self.site, self.result)), (lambda: grades_json(self.result))


class Run(Answer):
    """A discharge through tank, pipe, box and trenches; see `surge`."""

    result: "SurgeOutcome"

    def plot(self) -> "Figure":
        """Level and flows in time."""
        from dbox.drawings.days_picture import run_figure

        return run_figure(self.result)

    def _told(self) -> Told:
        from dbox.report.surge_report import report, surge_json

        return (lambda: report(self.result)), (lambda: surge_json(self.result))


class Causes(Answer):
    """Ranked causes of a wet line and the next looks; see `diagnose`."""

    result: "Diagnosis"

    @property
    def headline(self) -> str:
        """The leading cause with its chance, one of a ranking."""
        from dbox.report.diagnose_report import told_causes
        from dbox.report.text import chance_text

        first, *others = told_causes(self.result)
        chance = chance_text(first.probability)
        return f"{first.short}: {chance}, the first of {len(others) + 1} ranked causes"

    def plot(self) -> "Figure":
        """The leading causes as bars."""
        from dbox.drawings.answers import diagnosis_picture

        return diagnosis_picture(self.result)

    def _told(self) -> Told:
        from dbox.report.diagnose_report import diagnosis_json, report

        return (lambda: report(self.result)), (lambda: diagnosis_json(self.result))


def _refuse_no_site(site: object) -> None:
    if not isinstance(site, Site):
        said = f"site is {show(site)}"
        raise DomainError(f'{said}; load it first, as dbox.load("off-level"), or make it: Site.of')


def load(path_or_name: "str | Path") -> Site:
    """Load a scenario: a file, or one that is shipped, by its bare name.

    Parameters
    ----------
    path_or_name : str or Path
        A path to a TOML file, or a shipped name, such as "off-level".

    Returns
    -------
    Site
        The box as measured, in SI.

    Raises
    ------
    ScenarioError
        With every fault of the file, each with its place, value and mend.

    >>> load("off-level").title
    'Off level: five equal lines (invented)'
    """
    from dbox.files import scenario

    return scenario.load(scenario.resolve(str(path_or_name)))


def loads(text: str) -> Site:
    """Load a scenario from its TOML text.

    Parameters
    ----------
    text : str
        The text of a scenario file.

    Returns
    -------
    Site
        The box as measured, in SI.

    Raises
    ------
    ScenarioError
        With every fault of the text.
    """
    from dbox.files import scenario

    return scenario.loads(text)


def assess(site: Site, *, seed: int = 0, samples: int = SAMPLES) -> Shares:
    """Share of every outlet at each flow of a site, with 5 to 95 per cent bands.

    Parameters
    ----------
    site : Site
        A box with a reading for every open outlet.
    seed : int
        Seed of the bands; the same seed gives the same answer.
    samples : int
        Boxes drawn for the bands.

    Returns
    -------
    Shares
        Its `result.result.share` has shape (flows, outlets), the bands `result.share_low` and
        `result.share_high` too. [-]

    Raises
    ------
    DomainError
        Where an open outlet has no reading, or readings are only placeholders.

    Notes
    -----
    An outlet in the jet of a straight inlet runs as if its lip stood lower by the velocity head
    there. Where it is not known how the jet strikes, or whether there is one, a verdict is one that
    holds in every way that may be; `result.no_jet` holds the shares without it.

    >>> assess(load("off-level")).result.result.share.shape
    (3, 5)
    """
    from dbox.fieldwork import series, shares

    _refuse_no_site(site)
    found = shares.assess(site, seed=seed, samples=samples)
    return Shares(site, found, series.through(site, seed=seed, samples=samples))


def level(
    site: Site,
    *,
    highest: bool = False,
    at: str | None = None,
    step: float | None = None,
    seed: int = 0,
    samples: int = SAMPLES,
) -> Plan:
    """What to turn, how far and to which clock position, or that the box must be bedded again.

    Parameters
    ----------
    site : Site
        A box with a reading for every open outlet.
    highest : bool
        Bring all lips to the highest as it stands, in place of the height with the least turning.
    at : str or None
        Name of the flow at which unequal targets are met; None: all flows have a say.
    step : float or None
        What turns are rounded to; None: 2.5 degrees. [rad]
    seed : int
        Seed of the bands.
    samples : int
        Boxes drawn for the bands.

    Returns
    -------
    Plan
        Its `result` holds verdict, moves [m], turns [rad] and shares before and after.

    Raises
    ------
    DomainError
        Where a reading is missing, or no flow has that name.

    >>> level(load("tilted-rebed")).result.verdict
    're-bed'
    """
    from dbox.fieldwork import levelling

    _refuse_no_site(site)
    names = [flow.name for flow in site.flows]
    if at is not None and at not in names:
        raise DomainError(f"at is {at!r}; the flows are {', '.join(names)}")
    found = levelling.level(
        site, match_highest=highest, design_flow=None if at is None else names.index(at),
        hand_step=levelling.HAND_STEP if step is None else step, seed=seed, samples=samples,
    )  # fmt: skip
    return Plan(site, found)


def pour(site: Site, *, seed: int = 0, samples: int = SAMPLES) -> PourTest:
    """What each outlet should give in the pours of a site; with catches, what explains them.

    Parameters
    ----------
    site : Site
        A box with readings and, where poured already, catches.
    seed : int
        Seed of the bands.
    samples : int
        Boxes drawn for the bands.

    Returns
    -------
    PourTest
        Its `result` holds expected flows [m3/s]; `explanations` and `finding` say what fits.

    Raises
    ------
    DomainError
        Where a reading is missing or no pour is given.
    """
    from dbox.fieldwork.pour import expect
    from dbox.fieldwork.pour_fit import explain, judge
    from dbox.files.typed import with_typed_pours

    _refuse_no_site(site)
    site = with_typed_pours(site, (), None, None)
    expectation = expect(site, site.pours, seed=seed, samples=samples)
    done = any(each.done for each in site.pours)
    explanations = explain(expectation) if done else ()
    finding = judge(expectation, explanations) if done else None
    return PourTest(site, expectation, explanations, finding)


def grades(site: Site) -> Grades:
    """Falls of pipes and trench bottoms as read; before digging, what the rod is to read.

    Parameters
    ----------
    site : Site
        A site with readings along its pipes, or with a plan.

    Returns
    -------
    Grades
        Its `result` holds every run with its falls [m] and their errors [m], and the plan.

    Raises
    ------
    DomainError
        Where there are neither readings nor a plan, where readings are only placeholders, or where
        water would have to run uphill as planned.
    """
    from dbox.fieldwork.grades import grade

    _refuse_no_site(site)
    return Grades(site, grade(site))


def surge(
    site: Site,
    *,
    event: str | Sequence[str] | None = None,
    day: bool = False,
    days: int | None = None,
    dose: str | None = None,
    inflow: "tuple[ArrayLike, ArrayLike] | str | Path | None" = None,
    people: int | None = None,
    seconds: float | None = None,
    seed: int = 0,
    progress: Callable[[float], None] | None = None,
) -> Run:
    """A discharge through tank, pipe, box and trenches; ask for one of the events.

    Parameters
    ----------
    site : Site
        A box with what stands before and behind it, as far as known.
    event : str or sequence of str or None
        Fixtures that start together: toilet, shower, bath, washer, dishwasher, sink.
    day : bool
        A plausible day of the house.
    days : int or None
        That many days, each drawn anew.
    dose : str or None
        "pump" or "siphon" of the site, or such as "60 gal at 30 gpm".
    inflow : tuple of array_like, or path, or None
        Measured at the box: times [s] and rates [m3/s], each of shape (t,), or a CSV file.
    people : int or None
        How many live in the house, in place of what the site says.
    seconds : float or None
        How long to go on with an event; None: till it is through. [s]
    seed : int
        Seed of the days.
    progress : callable or None
        Called with the part that is done, 0 to 1. [-]

    Returns
    -------
    Run
        Its `result.surge` holds level [m] and flows [m3/s] in time, (t,) and (t, n).

    Raises
    ------
    DomainError
        Where not exactly one thing is asked for, or the site lacks what it needs.

    >>> round(float(surge(load("off-level"), dose="20 gal at 5 gpm").result.surge.share.sum()), 6)
    1.0
    """
    from dbox.fieldwork import surge as at_site

    _refuse_no_site(site)
    asked = [event is not None, day, days is not None, dose is not None, inflow is not None]
    if sum(asked) != 1:
        raise DomainError("ask for one of event, day, days, dose and inflow")
    if people is not None:
        site = replace(site, works=replace(site.works, people=people))
    if days is not None and days < 1:
        raise DomainError(f"days is {days}; give 1 or more")
    if day or days is not None:
        return Run(site, at_site.run_days(site, days or 1, seed=seed, progress=progress))
    if event is not None:
        flow = at_site.house_event([event] if isinstance(event, str) else list(event))
    elif dose is not None:
        from dbox.files.typed import typed_dose

        flow = typed_dose(site.works, dose)
    elif isinstance(inflow, tuple):
        from dbox.hydraulics.surge.inflow import measured

        flow = measured(*inflow, name="inflow")
    else:
        from dbox.files.readings_csv import read_inflow

        flow = read_inflow(str(inflow))
    return Run(site, at_site.run(site, flow, seconds=seconds))


def diagnose(site: Site, *, seed: int = 0, draws: int = 60) -> Causes:
    """Rank the causes of a wet line by what was seen of it; the first need not be it.

    Parameters
    ----------
    site : Site
        A site with evidence, readings or catches, as far as there are any.
    seed : int
        Seed of the draws.
    draws : int
        Boxes drawn for each cause at each outlet.

    Returns
    -------
    Causes
        Its `result.answers` are the causes, the most probable first.

    Raises
    ------
    DomainError
        Where every outlet is capped, or draws are too few.
    """
    from dbox.fieldwork.diagnosis.diagnose import diagnose as weigh_causes

    _refuse_no_site(site)
    return Causes(site, weigh_causes(site, seed=seed, draws=draws))
