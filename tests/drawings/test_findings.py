"""The inspection that is filled in: one page, everything seen on it, nothing that was not."""

from dataclasses import replace

import pytest

from dbox.drawings.inspection_sheet import findings_sheet
from dbox.fieldwork.diagnosis.diagnose import diagnose
from dbox.files.scenario import load, resolve
from tests.drawings import paper


def page(name: str, size: str = "letter"):
    found = diagnose(load(resolve(name)), draws=60)
    (figure,) = findings_sheet(found, size)
    return found, figure, " ".join(text.get_text() for text in paper.words(figure))


@pytest.mark.parametrize("name", ["wet-line", "dry-line"])
@pytest.mark.parametrize("size", ["letter", "a4"])
def test_it_is_one_page_that_can_be_read(name, size):
    _, figure, _ = page(name, size)
    assert paper.overlaps(figure) == []
    assert paper.off_page(figure) == []
    assert min(text.get_fontsize() for text in paper.words(figure)) >= 10


def test_what_was_seen_stands_on_it_and_the_leading_cause_with_its_chance():
    found, _, told = page("wet-line")
    told = " ".join(told.split())
    assert "mouth at rest: 1 dry, 2 dry, 3 dry, 4 full" in told
    assert "wet ground at the line: 1 none, 2 none, 3 none, 4 head and middle" in told
    assert found.answers[0].cause.name in told
    assert "stain over the lips" not in told
    assert "INVENTED DATA" in told
    assert "Sewer gas kills" in told


def test_what_does_not_go_together_is_on_it():
    site = load(resolve("dry-line"))
    outlets = list(site.evidence.outlets)
    outlets[1] = replace(outlets[1], port="dry", drain_back="long")
    odd = replace(site, evidence=replace(site.evidence, outlets=tuple(outlets)))
    found = diagnose(odd, draws=60)
    figures = findings_sheet(found)
    told = " ".join(text.get_text() for figure in figures for text in paper.words(figure))
    assert found.contradictions
    assert "Do not go together" in told
