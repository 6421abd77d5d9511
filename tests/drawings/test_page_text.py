"""Pages hold all they need, and nothing that was typed can become more than text."""

import base64
import hashlib
import json
import re
from html.parser import HTMLParser

import pytest

from dbox import ScenarioError
from dbox.drawings.phone_page import page_html, save_page

WICKED = [
    "</script><img src=x onerror=alert(1)>",
    "<!--<script>",
    "\"'&amp;&lt;\u2028\u2029\x00",
    "\u202eright to left \u05e7\u05d5 3",
    "line \U0001f6b0\U0001f469\u200d\U0001f527",
]


class Parts(HTMLParser):
    """Elements of a page with their attributes, and what stands in each script and style."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.held, self._inside = [], [], None
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self._inside = (tag, dict(attrs)) if tag in ("script", "style") else None
        if self._inside:
            self.held.append([*self._inside, ""])

    def handle_endtag(self, tag):  # noqa: ARG002
        self._inside = None

    def handle_data(self, data):
        if self._inside:
            self.held[-1][2] += data


def policy(parts):
    return next(a["content"] for _, a in parts.tags if "http-equiv" in a)


def test_only_what_was_written_runs():
    """CSP level 3: a source is allowed by the base64 of the SHA-256 of what stands in it."""
    parts = Parts(page_html([], {}, "A box"))
    rules = policy(parts)
    assert "default-src 'none'" in rules
    assert not re.search("unsafe|http|[*]", rules)
    for tag, attributes, text in parts.held:
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert attributes.get("type") == "application/json" or f"'sha256-{digest}'" in rules, tag


@pytest.mark.parametrize("text", WICKED)
def test_what_was_typed_is_text(text):
    plain, parts = (Parts(page_html([], {"label": t}, t)) for t in ("a", text))
    assert [tag for tag, _ in parts.tags] == [tag for tag, _ in plain.tags]
    told = next(each for _, attributes, each in parts.held if attributes.get("type"))
    assert json.loads(told) == {"label": text}
    assert not re.search("[<>&\u2028\u2029]", told)


def test_nothing_asks_for_anything():
    parts = Parts(page_html([], {}, "A box"))
    for tag, attributes in parts.tags:
        assert not [name for name in attributes if name.startswith("on") or name == "src"], tag
        assert attributes.get("href", "data:,") == "data:,"


def test_only_a_page_of_ours_is_replaced(tmp_path):
    file, other = tmp_path / "page.html", tmp_path / "other.html"
    page = page_html([], {}, "A box")
    save_page(page, file)
    with pytest.raises(ScenarioError, match="not replaced"):
        save_page(page, file)
    save_page(page, file, overwrite=True)
    assert file.read_text() == page
    other.write_text("<p>letters of my own</p>")
    with pytest.raises(ScenarioError, match="no page of dbox"):
        save_page(page, other, overwrite=True)
    assert "my own" in other.read_text()
    with pytest.raises(ScenarioError, match=r"ends in \.html"):
        save_page(page, tmp_path / "page.htm")
