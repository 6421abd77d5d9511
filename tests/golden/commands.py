"""Every command line whose answer is kept, by the name of the file that holds it."""

from pathlib import Path

HERE = Path(__file__).parent
ODD = HERE / "odd"
SHIPPED = ("dry-line", "family-of-four", "full-job", "off-level", "pour-test", "tilted-curable",
           "tilted-rebed", "unequal-lines", "wet-line")  # fmt: skip
SITES = [*SHIPPED, *(str(path) for path in sorted(ODD.glob("*.toml")))]


def commands() -> dict[str, list[str]]:
    """Arguments of each run; `{out}` stands for a folder of its own."""
    kept: dict[str, list[str]] = {"schema": ["schema"], "new": ["new", "{out}/new.toml"]}
    for site in SITES:
        name = Path(site).stem
        few = ["--samples", "300"]
        kept[f"check-{name}"] = ["check", site]
        kept[f"split-{name}"] = ["split", site, *few]
        kept[f"level-{name}"] = ["level", site, *few]
        kept[f"grades-{name}"] = ["grades", site]
        kept[f"pour-{name}"] = ["pour", site, *few]
        kept[f"surge-{name}"] = ["surge", site, "--event", "shower"]
        kept[f"diagnose-{name}"] = ["diagnose", site, "--draws", "40"]
        for kind in ("split", "level", "grades", "pour", "surge", "diagnose"):
            kept[f"{kind}-{name}-json"] = [*kept[f"{kind}-{name}"], "--json"]
    kept |= {
        "split-typed": ["split", "--heights", "1/8, 0, -1/16, 1/8", "--opening",
                        "circle 2 in", "--flow", "5 gal in 40 s", "--samples", "300"],
        "split-typed-mm": ["split", "--heights", "3, 0, -1.5", "--units", "mm", "--opening",
                           "notch 90 deg", "--tolerance", "10 %", "--samples", "300", "--json"],
        "level-highest": ["level", "off-level", "--goal", "highest", "--samples", "300"],
        "level-at-dose": ["level", "unequal-lines", "--at", "dose", "--samples", "300"],
        "surge-day": ["surge", "family-of-four", "--day"],
        "surge-day-json": ["surge", "family-of-four", "--day", "--json"],
        "surge-days": ["surge", "family-of-four", "--days", "5", "--settling", "1/4 in"],
        "surge-pump-json": ["surge", "family-of-four", "--dose", "pump", "--json"],
        "surge-siphon": ["surge", "family-of-four", "--dose", "siphon"],
        "surge-contrast": ["surge", "family-of-four", "--contrast"],
        "surge-contrast-json": ["surge", "family-of-four", "--contrast", "--json"],
        "teach-sweep": ["teach", "sweep", "--flow", "0.5 gpm"],
        "teach-sweep-json": ["teach", "sweep", "off-level", "--tolerance", "10 %", "--flow",
                             "1 gpm",
                             "--json"],
        "teach-compare": ["teach", "compare", "--csv", "{out}/compare.csv"],
        "teach-compare-json": ["teach", "compare", "--json"],
        "teach-case": ["teach", "case", "--seed", "7", "--groups", "2"],
        "teach-case-key": ["teach", "case", "--seed", "7", "--groups", "2", "--key"],
        "teach-case-json": ["teach", "case", "--seed", "7", "--json"],
        "teach-case-text": ["teach", "case", "--seed", "3", "--out", "{out}/case.txt"],
        "teach-handout-json": ["teach", "handout", "--out", "{out}/handout.pdf", "--json"],
        "batch": ["batch", "forty-boxes", "--out", "{out}/results.csv", "--processes", "1"],
        "batch-json": ["batch", "forty-boxes", "--out", "{out}/results.csv", "--json",
                       "--processes", "1"],
        "batch-quick": ["batch", "forty-boxes", "--out", "{out}/quick.csv", "--quick", "--shares",
                        "--processes", "1"],
        "setup": ["setup", "{out}/job.toml", "--answers", str(ODD / "answers.txt"),
                  "--write-after"],
        "setup-json": ["setup", "{out}/job.toml", "--answers", str(ODD / "answers.txt"), "--json"],
        "setup-asked": ["setup", "{out}/asked.toml", "--answers", str(ODD / "questions.txt")],
        "setup-second-thoughts": ["setup", "{out}/asked.toml", "--answers",
                                  str(ODD / "second-thoughts.txt")],
        "diagnose-ask": ["diagnose", "{out}/job.toml", "--ask", "--draws", "20"],
        "pour-csv": ["pour", "pour-test", "--write-csv", "{out}/catches.csv", "--samples", "300"],
    }  # fmt: skip
    for site in ("off-level", "full-job", "wet-line", "pour-test"):
        for kind in ("field", "setup", "inspection"):
            kept[f"sheet-{kind}-{site}"] = [
                "sheet", site, "--kind", kind, "--out", "{out}/sheet.pdf"
            ]  # fmt: skip
    for site in ("off-level", "tilted-rebed", str(ODD / "round-mixed.toml")):
        for command in ("split", "level"):
            kept[f"{command}-picture-{Path(site).stem}"] = [
                command, site, "--samples", "300", "--picture", "{out}/picture.svg"
            ]  # fmt: skip
    kept |= {
        "grades-picture": ["grades", "full-job", "--picture", "{out}/picture.svg"],
        "batch-picture": ["batch", "forty-boxes", "--out", "{out}/results.csv", "--picture",
                          "{out}/summary.svg", "--quick", "--processes", "1"],
        "surge-picture": ["surge", "family-of-four", "--event", "shower", "--out",
                          "{out}/picture.svg"],
        "surge-contrast-picture": ["surge", "family-of-four", "--contrast", "--out",
                                   "{out}/picture.svg"],
        "teach-sweep-picture": ["teach", "sweep", "--picture", "{out}/picture.svg"],
        "teach-compare-picture": ["teach", "compare", "--picture", "{out}/picture.svg"],
        "teach-handout": ["teach", "handout", "--out", "{out}/handout.pdf"],
        "teach-case-pages": ["teach", "case", "--seed", "7", "--out", "{out}/case.pdf"],
    }  # fmt: skip
    return kept
