"""`dbox page` writes one page that holds all it needs; `setup --from` takes back what it saved."""

import json
import re

from dbox.files.logged_box import identity
from dbox.files.scenario import load, resolve

AT = "2026-05-04T09:30:00+00:00"


def held(file):
    """The data that a page carries."""
    text = file.read_text(encoding="utf-8")
    return json.loads(re.search(r'id="data">(.*?)</script>', text, re.DOTALL)[1])


def test_a_page_of_a_box_and_one_of_none(dbox, tmp_path):
    file = tmp_path / "box.html"
    code, out, err = dbox("page", "off-level", "--out", str(file))
    assert (code, out) == (0, f"wrote {file}\n")
    assert "open it with the browser" in err
    assert file.stat().st_size <= 300_000
    job = held(file)["job"]
    site = load(resolve("off-level"))
    assert job["box"] == identity(site)
    assert [o["label"] for o in job["site"]["outlets"]] == [o.label for o in site.outlets]
    assert job["entries"] == []
    code, _, err = dbox("page", "--out", str(file))
    assert code == 2
    assert "is not replaced" in err
    assert dbox("page", "--out", str(file), "--overwrite")[0] == 0
    assert held(file)["job"] is None


def test_only_a_page_is_replaced_and_a_page_is_named_as_one(dbox, tmp_path):
    other = tmp_path / "mine.html"
    other.write_text("mine")
    code, _, err = dbox("page", "--out", str(other), "--overwrite")
    assert (code, other.read_text()) == (2, "mine")
    assert "is no page of dbox" in err
    code, _, err = dbox("page", "--out", str(tmp_path / "box.toml"))
    assert code == 2
    assert "a page ends in .html" in err
    assert dbox("page", "no-such-box", "--out", str(tmp_path / "a.html"))[0] == 2
    assert not (tmp_path / "a.html").exists()


def saved(tmp_path, job, entries):
    file = tmp_path / "saved.json"
    told = {
        **job,
        "kind": "a set-up of dbox, saved from its page",
        "version": 1,
        "entries": entries,
    }
    file.write_text(json.dumps(told))
    return file


def test_what_a_page_has_saved_goes_on_here_and_there(dbox, tmp_path):
    """Readings that are all the same make a level box: no outlet stands over another."""
    box, page = tmp_path / "job.toml", tmp_path / "box.html"
    box.write_text(resolve("off-level").read_text(encoding="utf-8"), encoding="utf-8")
    text = re.sub(r"(?m)^reading = .*\n", "", box.read_text(encoding="utf-8"))
    box.write_text(text, encoding="utf-8")
    dbox("page", str(box), "--out", str(page))
    job = held(page)["job"]
    labels = [outlet["label"] for outlet in job["site"]["outlets"]]
    entries = [{"event": "still", "at": AT, "method": "ruler from still water"}]
    for label in labels:
        entries += [
            {"event": "read", "at": AT, "outlet": label, "readings_m": [0.0, 0.0],
             "doubtful": False, "typed": "0 0"},
        ]  # fmt: skip
    file = saved(tmp_path, job, entries)
    code, out, err = dbox("setup", str(box), "--from", str(file))
    assert (code, err) == (0, "")
    assert f"{len(entries)} answers" in " ".join(out.split())
    assert all(len(line) <= 72 or str(tmp_path) in line for line in out.splitlines())
    assert "PASS 1:" in out
    code, out, err = dbox("setup", str(box), "--from", str(file), "--json")
    assert code == 0
    assert "nothing that the log lacks" in " ".join(err.split())
    told = json.loads(out)
    assert [o["readings_m"] for o in told["passes"][0]["outlets"]] == [[0.0, 0.0]] * len(labels)
    dbox("page", str(box), "--out", str(page), "--overwrite")
    assert held(page)["job"]["entries"] == entries


def test_what_cannot_be_taken_is_refused_in_one_line(dbox, tmp_path):
    box = tmp_path / "job.toml"
    file = tmp_path / "saved.json"
    file.write_text("{}")
    code, out, err = dbox("setup", str(box), "--from", str(file))
    assert (code, out) == (2, "")
    assert "was not saved by a page of dbox" in err
    assert not box.exists()
    code, _, err = dbox("setup", str(box), "--from", str(file), "--answers", str(tmp_path / "a"))
    assert code == 2
    assert "--from takes no --answers" in err
    code, _, err = dbox("setup", str(box), "--from", str(tmp_path / "none.json"))
    assert code == 2
    assert "none.json" in err
