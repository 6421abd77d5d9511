"""The inspection that is filled in: everything that was seen is on it, nothing that was not."""

from dataclasses import replace
from functools import cache

import pytest

from dbox.drawings.inspection_sheet import findings_sheet
from dbox.fieldwork.diagnosis.diagnose import diagnose
from dbox.files.evidence_words import cause_words
from dbox.files.scenario import load, resolve
from tests.drawings import paper


@cache
def diagnosis(name: str):
    return diagnose(load(resolve(name)), draws=60)


def told(figures) -> str:
    return " ".join(" ".join(paper.texts(figure)) for figure in figures)


@pytest.mark.slow
@pytest.mark.everyday(1)
@pytest.mark.parametrize(("name", "size"), [("wet-line", "letter"), ("dry-line", "a4")])
def test_it_can_be_read(name, size):
    figures = findings_sheet(diagnosis(name), size)
    assert len(figures) <= 2
    for figure in figures:
        assert paper.overlaps(figure) == []
        assert paper.off_page(figure) == []
        assert paper.smallest(figure) >= 10


@pytest.mark.slow
def test_what_was_seen_stands_on_it_and_the_leading_cause_with_its_chance():
    found = diagnosis("wet-line")
    words = " ".join(told(findings_sheet(found)).split())
    for each in (
        "mouth at rest: 1 dry, 2 dry, 3 dry, 4 full",
        "wet ground at the line: 1 none, 2 none, 3 none, 4 head and middle",
        f"{cause_words(found.site, found.answers[0])}: likely, ",
        "INVENTED DATA",
        "Sewer gas kills",
    ):
        assert each in words
    assert "stain over the lips" not in words


@pytest.mark.slow
def test_what_does_not_go_together_is_on_it():
    site = load(resolve("dry-line"))
    outlets = list(site.evidence.outlets)
    outlets[1] = replace(outlets[1], port="dry", drain_back="long")
    odd = replace(site, evidence=replace(site.evidence, outlets=tuple(outlets)))
    found = diagnose(odd, draws=60)
    assert found.contradictions
    assert "DO NOT GO TOGETHER" in told(findings_sheet(found))
