"""Every picture and page of every command, for six boxes that differ; all of them invented.

python -m tests.drawings.gallery FOLDER [NAME ...]     write them as PNG, or those of some names

The commands are run as a user runs them; what they would save is caught. A new picture or page
joins by its line in `COMMANDS` or `PLOTS`, a new film by its line in `FILMS`.
"""

import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure

import dbox
from dbox.drawings.surge_frames import Show, SurgeFrame, closing_figure, opening_figure
from dbox.fieldwork.surge import SurgeOutcome, house_event, run, side_by_side
from dbox.units import GALLON
from dbox_cli.main import run as typed
from tests.drawings.cases import places


@dataclass(frozen=True)
class Made:
    """A box made up to differ from the others."""

    outlets: int
    insert: str  # Keys of [insert].
    metric: bool = False
    is_round: bool = False
    tolerance: bool = True
    capped: tuple[int, ...] = ()
    inlet: str = "turned down"
    fixed: bool = False  # Whether no insert can be turned.
    labels: str = "{}"


BOXES = {
    "two": Made(2, 'kind = "circle"\ndiameter = "2 in"'),
    "four, millimetres": Made(4, 'kind = "notch"\nangle = "90 deg"', metric=True, fixed=True),
    "five": Made(5, 'kind = "circle"\ndiameter = "1-3/4 in"', labels="line {}, north field"),
    "six slots, no tolerance": Made(
        6, 'kind = "slot"\nwidth = "25 mm"\nheight = "60 mm"', metric=True, tolerance=False,
        fixed=True, inlet="tee",
    ),
    "eight, round, capped": Made(
        8, 'kind = "circle"\ndiameter = "50 mm"', metric=True, is_round=True, capped=(2, 5)
    ),
    "twelve pipes": Made(
        12, 'kind = "pipe"\ndiameter = "4.026 in"', fixed=True, capped=(11,), inlet="straight"
    ),
}  # fmt: skip
"""From two outlets to twelve, round and not, each kind of opening, both units."""


def heights(box: Made) -> list[float]:
    """Height of each lip over still water, a little out of level. [in]"""
    rng = np.random.default_rng(box.outlets)
    drawn = np.round(16 * np.abs(rng.normal(0.0, 0.12, box.outlets))) / 16
    return [float(x) for x in drawn - drawn[[i not in box.capped for i in range(drawn.size)]].min()]


def reading(box: Made, inches: float) -> str:
    """A height as it is typed in the unit of the job."""
    return f"{25.4 * inches:.0f} mm" if box.metric else f"{round(16 * inches)}/16 in"


def scenario(box: Made) -> str:
    """The scenario file of a box, with all that any command asks for."""
    size = (24.0, 24.0) if box.is_round else (18.0, 24.0)
    spots = places(box.outlets, *size, is_round=box.is_round)
    inside = '["24 in"]' if box.is_round else '["18 in", "24 in"]'
    parts = [
        f"""# INVENTED DATA
title = "{box.outlets} lines of a made-up house (invented)"
units = "{"mm" if box.metric else "in"}"
[record]
invented = true
who = "A. Installer (invented)"
date = "2026-05-04"
address = "12 Example Road"
call = ["A. Installer, 555 0100: the box and the lines"]
[ties]
to = "the centre of the lid"
side = "left"
point = [{{name = "SE corner of the house", distance = "36 ft"}},
         {{name = "SW corner of the house", distance = "44 ft 9 in", from_first = "30 ft"}}]
[box]
shape = "{"round" if box.is_round else "rectangle"}"
inside = {inside}
inlet = "{box.inlet}"
inlet_drop = "2 in"
sump = "4 in"
[insert]
{box.insert}
{"" if box.fixed else 'offset = "1/2 in"'}
header_fall = "1/8 in/ft"
[readings]
point = "lip"
spread = "1/32 in"
rim = "5-1/2 in"
[flows]
trickle = "0.5 gpm"
bucket = "5 gal in 60 s"
dose = "30 gpm"
[target]
by = "equal"
[house]
people = 4
[tank]
inside = ["8 ft", "5 ft"]
outlet = "4.026 in"
[supply]
length = "30 ft"
diameter = "4.026 in"
fall = "1/8 in/ft"
[header]
length = "10 ft"
diameter = "4.026 in"
[trench]
width = "22 in"
depth = "30 in"
pipe = "10 in"
voids = "35 %"
acceptance = "0.3 gal/ft2/day"
[grades]
spread = "1/16 in"
diameter = "4.026 in"
roughness = 0.010
"""
    ]
    if box.tolerance:
        parts.append('[tolerance]\nshare = "10 %"\nsource = "invented"\n')
    for i, (high, (along, across)) in enumerate(zip(heights(box), spots, strict=True)):
        capped, name = i in box.capped, box.labels.format(i + 1)
        seen = "" if capped else f'reading = "{reading(box, high)}"\n'
        parts.append(
            f'[[outlet]]\nlabel = "{name}"\nat = ["{along} in", "{across} in"]\n{seen}'
            f'state = "{"capped" if capped else "open"}"\nline_length = "60 ft"\n'
            + ("" if box.fixed or capped else 'clock = "6:00"\n')
        )
        wet = i == 1
        if not capped:
            parts.append(
                f'[outlet.evidence]\nmouth = "{"full" if wet else "dry"}"\n'
                f'port = "{"to the pipe" if wet else "dry"}"\n'
            )
            rods = "".join(
                f'{{at = "{4 * k} ft", rod = "{39 + k * 0.75 - (i == 2) * k:.3f} in"}}, '
                for k in range(3)
            )
            parts.append(
                f'[[grades.run]]\nname = "header {i + 1}"\nkind = "header"\noutlet = "{name}"\n'
                f"station = [{rods}]\n"
            )
    return "\n".join(parts) + "\n" + catches(box)


def catches(box: Made) -> str:
    """Two pours, in which an outlet gave less than it ought to."""
    tables = []
    for name, flow in (("slow", 1.25), ("fast", 6.0)):
        open_ones = [i for i in range(box.outlets) if i not in box.capped]
        each = flow * 3.785 / len(open_ones)
        lines = "".join(
            f'"{box.labels.format(i + 1)}" = "{each * (0.6 if i == 1 else 1.0):.2f} L in 60 s"\n'
            for i in open_ones
        )
        tables.append(f'[[pour]]\nname = "{name}"\nflow = "{flow} gpm"\n[pour.catch]\n{lines}')
    return "\n".join(tables)


COMMANDS: dict[str, str] = {
    "split": "split FILE --samples 400 --picture OUT.png",
    "level": "level FILE --samples 400 --picture OUT.png",
    "grades": "grades FILE --picture OUT.png",
    "batch": "batch forty-boxes --quick --processes 1 --out OUT.csv --picture OUT.png",
    "surge": "surge FILE --event shower --out OUT.png",
    "surge day": "surge FILE --day --out OUT.png",
    "surge days": "surge FILE --days 14 --out OUT.png",
    "surge settling": "surge FILE --days 60 --settling 1in --out OUT.png",
    "surge contrast": "surge FILE --contrast --out OUT.png",
    "sheet field": "sheet FILE --kind field --out OUT.pdf",
    "sheet field a4": "sheet FILE --kind field --paper a4 --out OUT.pdf",
    "sheet blank": "sheet --outlets N --kind field --out OUT.pdf",
    "sheet inspection": "sheet FILE --kind inspection --out OUT.pdf",
    "sheet inspection blank": "sheet BARE --kind inspection --out OUT.pdf",
    "sheet owner": "sheet FILE --kind owner --out OUT.pdf",
    "sheet setup": "sheet FILE --kind setup --out OUT.pdf",
    "sheet setup logged": "sheet JOB --kind setup --out OUT.pdf",
    "sheet setup first visit": "sheet JOB --kind setup --visit 1 --paper a4 --out OUT.pdf",
    "teach sweep": "teach sweep FILE --picture OUT.png",
    "teach compare": "teach compare FILE --picture OUT.png",
    "teach handout": "teach handout --outlets LESSON --out OUT.pdf",
    "teach case": "teach case --seed N --groups 2 --out OUT.pdf",
}
"""What is typed; FILE is the scenario, BARE the same with no evidence, JOB one with two visits."""

PLOTS: dict[str, Callable[[dbox.Site], Figure]] = {
    "pour": lambda site: dbox.pour(site).plot(),
    "diagnosis": lambda site: dbox.diagnose(site, draws=20).plot(),
}
"""Answers that only `.plot()` draws."""


def _film(outcomes: Sequence[SurgeOutcome]) -> Iterator[Figure]:
    how = Show()
    yield opening_figure(outcomes, how)
    frame = SurgeFrame(outcomes, how)
    for time in (0.0, outcomes[0].surge.peak_time, 0.9 * outcomes[0].surge.seconds):
        frame.show(float(time), 60.0)
        yield frame.figure
    yield closing_figure(outcomes, how)


FILMS: dict[str, Callable[[dbox.Site], Iterator[Figure]]] = {
    "film": lambda site: _film([run(site, house_event(["shower"]))]),
    "film contrast": lambda site: _film(side_by_side(site, 20 * GALLON)),
}
"""Films, as some of their frames."""


@contextmanager
def caught() -> Iterator[list[Figure]]:
    """Figures that would be saved meanwhile; none of them is."""
    found: list[Figure] = []
    save = Figure.savefig
    Figure.savefig = lambda figure, *_, **__: found.append(figure)  # type: ignore[method-assign, assignment, misc]
    try:
        yield found
    finally:
        Figure.savefig = save  # type: ignore[method-assign]


def dbox_says(words: Sequence[str], folder: Path) -> str:
    """Run a command; what it printed, unless it failed."""
    out, err, code, before = StringIO(), StringIO(), 0, sys.argv
    sys.argv = ["dbox", *(word.replace("OUT", str(folder / "out")) for word in words)]
    try:
        with redirect_stdout(out), redirect_stderr(err):
            typed()
    except SystemExit as stop:
        code = int(stop.code or 0)
    finally:
        sys.argv = before
    assert code == 0, f"{words}: exit {code}\n{out.getvalue()}{err.getvalue()}"
    return out.getvalue()


class Bench:
    """The files of one box in a folder."""

    def __init__(self, name: str, folder: Path):
        self.box, self.folder, self.made = BOXES[name], folder, 0
        self.site = dbox.loads(scenario(self.box))
        self.words = {
            "FILE": str(folder / "file.toml"), "BARE": str(folder / "bare.toml"),
            "JOB": str(folder / "job.toml"), "N": str(self.box.outlets),
            "LESSON": str(min(self.box.outlets, 8)),
        }  # fmt: skip
        whole = scenario(self.box)
        Path(self.words["FILE"]).write_text(whole)
        for word in ("BARE", "JOB"):
            kept = [part for part in whole.split("\n[") if "evidence" not in part.split("]")[0]]
            Path(self.words[word]).write_text("\n[".join(kept))

    def figures(self, name: str) -> Iterator[Figure]:
        """What a name of the lists above draws."""
        if name in PLOTS:
            yield PLOTS[name](self.site)
            return
        if name in FILMS:
            yield from FILMS[name](self.site)
            return
        if "JOB" in COMMANDS[name]:
            self.set_up()
        self.made += 1
        folder = self.folder / str(self.made)
        folder.mkdir()
        with caught() as found:
            dbox_says([self.words.get(word, word) for word in COMMANDS[name].split()], folder)
        assert found, f"{name} drew nothing"
        yield from found

    def set_up(self) -> None:
        """Two visits to the job, if there were none yet: as read, then as good as level."""
        if Path(f"{self.words['JOB']}.log.jsonl").exists():
            return
        for visit in range(2):
            self._answer([""], "--again" if visit else "")
            for level in (heights(self.box), [0.0] * self.box.outlets):
                state = self._answer([])
                if state == "end":
                    break
                open_ones = [x for i, x in enumerate(level) if i not in self.box.capped]
                lines = [] if state == "read" else [""]
                state = self._answer([*lines, *(reading(self.box, x) for x in open_ones)])
                if state in ("turn", "confirm"):
                    state = self._answer([""])

    def _answer(self, lines: list[str], option: str = "") -> str:
        import json

        path = self.folder / "answers.txt"
        path.write_text("\n".join(lines) + "\n" * bool(lines))
        words = ["setup", self.words["JOB"], "--answers", str(path), "--json", option]
        said = json.loads(dbox_says(list(filter(None, words)), self.folder))
        return str(said["asks"])


NAMES = (*COMMANDS, *PLOTS, *FILMS)
ONCE = ("batch",)
"""What hangs on no scenario."""

NO_DATA = ("sheet blank",)
"""What holds nothing that could be invented."""


def wanted() -> list[tuple[str, str]]:
    """Every box with every name."""
    first = next(iter(BOXES))
    return [(box, name) for box in BOXES for name in NAMES if name not in ONCE or box == first]


def write(folder: Path, names: Sequence[str] = NAMES) -> None:
    """Write the gallery into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for box in BOXES:
        with tempfile.TemporaryDirectory() as scrap:
            bench = Bench(box, Path(scrap))
            for name in names:
                if (box, name) not in wanted():
                    continue
                for page, figure in enumerate(bench.figures(name), start=1):
                    file = f"{name} - {box} - {page}.png".replace(",", "")
                    options: dict[str, Any] = {"dpi": figure.dpi if name in FILMS else 100}
                    figure.savefig(folder / file, **options)
                    print(file)


if __name__ == "__main__":
    write(Path(sys.argv[1]), sys.argv[2:] or NAMES)
