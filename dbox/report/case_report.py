"""Mystery cases and their keys, for machines and for people.

A key reasons by the numbers of its case: what the lips as read would give each line, and what it
gave. What no look tells apart it names side by side.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict
from itertools import chain

import numpy as np

from dbox.errors import outlets_text
from dbox.fieldwork.diagnosis.causes import CAUSES, KEYS
from dbox.fieldwork.evidence import OUTLET_WORDS, WORDS
from dbox.fieldwork.lesson_cases import Answer, Case
from dbox.files.evidence_words import NAMES
from dbox.report.blocks import Block, Column, Heading, Paragraph, Section, Table, text
from dbox.report.cautions import LESSON
from dbox.report.encode import Json, encode, rows
from dbox.report.split_report import share_text
from dbox.report.teach_report import both_amounts
from dbox.report.text import TOGETHER
from dbox.units import GALLON, LITRE_PER_MINUTE, MINUTE, percent_text, three_digits

QUESTION = "Guess first. What is wrong, and at which outlet? What single look would settle it?"
BLANKS = ("Cause", "Outlet", "How sure, %", "The one look")
INVENTED = "INVENTED DATA: a case made up for teaching; no such box was measured."


def cases_json(cases: Sequence[Case], *, key: bool) -> Json:
    """Mystery cases as JSON."""
    told = []
    for case in cases:
        site, box = case.shown, case.shown.box
        labels = [outlet.label for outlet in site.outlets]
        seen = encode(asdict(site.evidence))
        caught = [{p.name: p.catches[i] for p in site.pours} for i in range(len(labels))]
        told.append({
            "title": site.title,
            "difficulty": case.difficulty,
            "box": {"shape": box.shape, "inside_m": list(box.inside), "metric": site.metric,
                    "opening": case.hole},
            "outlets": rows(
                label=labels, at_m=[outlet.position for outlet in site.outlets],
                readings_m=[outlet.readings for outlet in site.outlets],
                caught_m3_s=caught, evidence=seen.pop("outlets"),
            ),
            "evidence": seen,
            "pours": [
                {"name": p.name, "inflow_m3_s": p.inflow, "order": [labels[i] for i in p.order]}
                for p in site.pours
            ],
        })  # fmt: skip
        if key:
            told[-1]["key"] = {
                "topic": case.recipe.topic,
                "cause": case.cause,
                "outlet": labels[case.outlet] if case.outlet >= 0 else None,
                "answers": [
                    {"cause": cause, "outlet": labels[i] if i >= 0 else None}
                    for cause, i in case.answers
                ],
                "look": case.look,
                "look_shows": case.look_shows,
                "why": reasons(case),
            }
    return {"seed": cases[0].seed, "invented": True, "cases": told}


def readings_table(case: Case) -> Table:
    """What was read and caught, a row an outlet."""
    site, lengths = case.shown, case.shown.lengths
    unit, per_unit = ("L/min", LITRE_PER_MINUTE) if site.metric else ("gpm", GALLON / MINUTE)
    heads = [Column("outlet", 8)]
    heads += [Column(f"lip,\nreading {i}", 10, "right") for i in (1, 2)]
    for pour in site.pours:
        heads += [Column(f"{pour.name},\ncaught {unit}", 13, "right"),
                  Column("started", 8, "right")]  # fmt: skip
    lines = []
    for i, outlet in enumerate(site.outlets):
        heights = (lengths.one(height, signed=True) for height in outlet.readings)
        lines.append([outlet.label, *(height.replace(".0 mm", " mm") for height in heights)])
        for pour in site.pours:
            place = f"{pour.order.index(i) + 1}." if i in pour.order else "never"
            lines[-1] += [three_digits(round((pour.catches[i] or 0.0) / per_unit, 3)), place]
    return Table(heads, lines)


ON_PLAN = ("mouth", "port", "traffic", "ground")
"""Looks at the outlets that are drawn where they were taken."""


def _looks(case: Case, drawn: bool) -> list[tuple[str, list[str]]]:
    """Each look at the outlets that was taken: its name, and its word at each of them."""
    evidence, places = case.shown.evidence, range(len(case.shown.outlets))
    looks = []
    for name in (*OUTLET_WORDS, "ground"):
        if drawn and name in ON_PLAN:
            continue
        seen = [getattr(evidence.of_outlet(i), name) for i in places]
        if name == "ground":
            seen = [None if where is None else ", ".join(where) or "none" for where in seen]
        if None not in seen:
            looks.append((NAMES[name], [str(word) for word in seen]))
    return looks


def seen_at_outlets(case: Case, *, drawn: bool = False) -> list[str]:
    """What was seen of each outlet and its line, where it is not the same at all; one look each.

    drawn: whether some of it stands on the plan.
    """
    told = []
    for name, seen in _looks(case, drawn):
        words = [word for word, _ in Counter(seen).most_common()]
        if len(words) > 1:
            where = [_named(case, [i for i, at in enumerate(seen) if at == word]) for word in words]
            pairs = list(zip(words, where, strict=True))
            parts = [f"{word} at {outlets}" for word, outlets in [*pairs[1:], pairs[0]]]
            told.append(f"{name}: {'; '.join(parts)}")
    return told


def same_at_all_outlets(case: Case, *, drawn: bool = False) -> list[str]:
    """What was seen alike at every outlet, one sentence each; drawn as before."""
    return [f"{name}: {seen[0]}" for name, seen in _looks(case, drawn) if len({*seen}) == 1]


def box_words(case: Case) -> str:
    """What box it is, and where its outlets are."""
    site, lengths = case.shown, case.shown.lengths
    sizes = " by ".join(lengths.tick(size) for size in site.box.inside)
    if site.box.shape == "round":
        shape = f"A round box, {sizes} across"
        where = "They stand round it at even distances, clockwise from the inlet"
    else:
        shape = f"A box {sizes} inside, along by across"
        walls: dict[str, list[str]] = {}
        for outlet in site.outlets:
            _, across = outlet.position or (0.0, 0.0)
            side = "left" if across <= 0 else "right" if across >= site.box.inside[1] else "far"
            walls.setdefault(side, []).append(outlet.label)
        placed = [f"{outlets_text(labels)} in the {side} wall" for side, labels in walls.items()]
        where = f"Seen from the inlet: {', '.join(placed)}"
    return f"{shape}; {len(site.outlets)} outlets, {case.hole} each, and equal lines. {where}."


def pour_words(case: Case) -> str:
    """How it was read and poured."""
    site = case.shown
    poured = " and ".join(f"{p.name} {both_amounts(p.inflow, site.lengths)}" for p in site.pours)
    ruler = site.lengths.tick(site.mark or 0.0)
    return (
        f"Lips over still water, + above it; a reading is good to {ruler}, a catch to 5 %. Poured: "
        f"{poured}."
    )


def case_blocks(case: Case, *, drawn: bool = False) -> dict[str, list[Section]]:
    """What a group is given, by what it is; drawn: leave out what stands on the plan and by it."""
    differing = seen_at_outlets(case, drawn=drawn)
    alike = "; ".join(same_at_all_outlets(case, drawn=drawn))
    words_of: dict[str, list[str]] = {}
    for name in WORDS:
        word = getattr(case.shown.evidence, name)
        if word is not None and not (drawn and name == "at_rest"):
            words_of.setdefault(word, []).append(NAMES[name])
    seen = "; ".join(f"{', '.join(names)}: {word}" for word, names in words_of.items())
    words = [] if drawn else [[Paragraph(box_words(case))]]
    return {
        "Read and caught": [*words, [readings_table(case)],
                            *([] if drawn else [[Paragraph(pour_words(case))]])],
        "Seen": [
            [Paragraph(f"{look}.", "- ") for look in differing],
            [Paragraph(f"At every outlet alike: {alike}.")],
            [Paragraph(f"House, tank and box: {seen}.")],
        ],
    }  # fmt: skip


def answer_words(case: Case, answer: Answer) -> str:
    """A cause and where it sits."""
    cause, outlet = answer
    name = CAUSES[KEYS.index(cause)].name
    return f"{name}, outlet {case.site.outlets[outlet].label}" if outlet >= 0 else name


def reasons(case: Case) -> list[str]:
    """Why: by the lips and catches of this very box first, then by what was seen."""
    by_water = {"height": _by_height, "felt": _by_catch, "stops": _by_catch, "loses": _by_loss,
                "even": _by_even}[case.recipe.water]  # fmt: skip
    return [*by_water(case), *case.why]


def _named(case: Case, outlets: Sequence[int]) -> str:
    return outlets_text(case.site.outlets[i].label for i in outlets)


def _by_height(case: Case) -> list[str]:
    lips, n, lengths = case.lips, case.lips.size, case.site.lengths
    low, high = int(lips.argmin()), int(lips.argmax())
    few = {2: "two", 3: "three"}.get(n, "")
    told = []
    if case.cause == "tilt":
        told.append(f"The lips fall {lengths.both(lips[high] - lips[low])} from "
                    f"{_named(case, [high])} to {_named(case, [low])}.")  # fmt: skip
        told.append(
            f"Any {few} lips lie on one plane: by them alone a lip that is off cannot be told from "
            "a box that leans."
            if few
            else f"All {n} lie on one plane to the error of a ruler; one lip off would break it."
        )
        told.append("The rim is out of level too: box and lips went together.")
    else:
        outlet = case.answers[0][1] if case.answers[1:] else case.outlet
        off = float(lips[outlet] - np.delete(lips, outlet).mean())
        others = "the other, " if n == 2 else "the others, which are level to a ruler's error, "
        told.append(f"Lip {_label(case, outlet)} stands {lengths.both(abs(off))} "
                    f"{'over' if off > 0 else 'under'} {others}".rstrip(", ") + ".")  # fmt: skip
        leaning = case.by_lips
        if few:
            told.append(f"Any {few} lips lie on one plane: by them alone it may be a box that "
                        "leans.")  # fmt: skip
        elif len(leaning) > 1:
            told.append(
                f"By the lips alone any of {_named(case, leaning)} may be the one that is off: "
                "leave it out and the others lie on one plane, in a box that leans."
            )
        else:
            told.append(
                "Leave it out and the others lie on one plane; leave out any other and they do "
                "not: by the lips alone it is this one."
            )
        told.append("The rim is level, so the box does not lean.")
        if case.answers[1:]:
            told.append(
                "Which of two lips moved no look here can tell: hold each against its own pipe, or "
                "against the record of the set-up."
            )
    told.append(
        f"{_split_words(case, low if case.cause != 'high' else case.outlet)}: height explains it "
        "to the error of ruler and catch, and fades as the flow rises."
    )
    return told


def _label(case: Case, outlet: int) -> str:
    return case.site.outlets[outlet].label


def _split_words(case: Case, outlet: int) -> str:
    """What the lips as read would give a line of each pour, and what it gave."""
    would, gave = (
        " and ".join(
            f"{percent_text(float(share), 0)} of the {pour.name}"
            for share, pour in zip(shares[:, outlet], case.site.pours, strict=True)
        )
        for shares in (case.as_read, case.caught)
    )
    return f"By the lips as read outlet {_label(case, outlet)} would get {would}; it gave {gave}"


def _by_catch(case: Case) -> list[str]:
    words = _split_words(case, case.outlet)
    if case.recipe.water == "stops":
        return [f"{words}: more flow does not help, so it is not the height of a lip."]
    return [f"{words}: the ruler does not see what holds it back, and more flow runs over it."]


def _by_loss(case: Case) -> list[str]:
    caught = case.caught.sum(-1)
    told = " and ".join(
        f"{percent_text(float(part), 0)} of the {pour.name}"
        for part, pour in zip(caught, case.site.pours, strict=True)
    )
    return [f"All outlets together gave {told}: the rest went another way."]


def _by_even(case: Case) -> list[str]:
    slow = case.caught[0]
    low, high = (share_text(float(share)) for share in (slow.min(), slow.max()))
    fair = share_text(1.0 / slow.size)
    return [
        f"Each line gave {low} to {high} of the slow pour (fair is {fair}), and no lip is off by "
        "more than a ruler errs: the split is even."
    ]


def key_blocks(case: Case) -> Section:
    """The key: cause, outlet, the look that settles it, what it shows, and why."""
    label = _label(case, case.outlet) if case.outlet >= 0 else ""
    where = (f", outlet {label}" if label else ", any outlet") if case.look_of_outlet else ""
    look, shows = f"{NAMES[case.look]}{where}", case.look_shows
    far = case.site.evidence.of_outlet(max(case.outlet, 0)).rod_distance
    if case.look == "rod" and far is not None:
        shows += f", {case.site.lengths.line(far)} from the box"
    if case.answers[1:]:
        either = "; or ".join(answer_words(case, answer) for answer in case.answers)
        told = {"Cannot be told": f"{either}. Either is right", "The look that comes nearest": look}
    else:
        told = {
            "Cause": case.cause_name,
            "Outlet": label or "the whole box",
            "The one look that settles it": look,
        }
    blocks: list[Block] = [Heading(f"KEY to {case.site.title}, {case.difficulty}")]
    blocks += [
        Paragraph(f"{name}: {words}", "  ", hang=2)
        for name, words in {**told, "It shows": shows}.items()
    ]
    held = (reason.replace(" %", f"{TOGETHER}%") for reason in reasons(case))
    return [*blocks, *(Paragraph(reason, "  - ") for reason in held)]


def case_report(cases: Sequence[Case]) -> list[str]:
    """Lines of at most 72 columns: what each group is given."""
    sections: list[Section] = []
    blanks = [Paragraph(f"{blank + ':':<14}______", "  ") for blank in BLANKS]
    for case in cases:
        parts = chain(*case_blocks(case).values())
        sections += [[Heading(case.shown.title)], *parts, [Paragraph(QUESTION), *blanks]]
    return text([*sections, [Paragraph(INVENTED), Paragraph(LESSON)]])


def key_report(cases: Sequence[Case]) -> list[str]:
    """Lines of at most 72 columns: the key."""
    return text([*map(key_blocks, cases), [Paragraph(INVENTED)]])
