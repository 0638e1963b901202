"""The READMEs say what the code says.

Blocks between ``<!-- block: NAME -->`` and ``<!-- end -->`` in any README come from the code;
``python tests/test_readme.py --write`` puts them in again, with the printed output of the tour. A
test compares tables word by word, and printed figures to the accuracy they have.
"""

from __future__ import annotations

import argparse
import contextlib
import dataclasses
import io
import json
import re
import shlex
import sys
import tomllib
from collections import Counter
from functools import cache
from pathlib import Path

import pytest
from test_demos import FOLDER, results_of

from binestimator import cli
from binestimator.advice.advise import advise
from binestimator.estimate import estimate
from binestimator.inputs import fields_of, project_from_mapping, read_project
from binestimator.inputs.schema import LIST_SECTIONS, SECTIONS, STRATEGY_SECTIONS, TERM_SECTIONS, title_of
from binestimator.inputs.terms import TERM_LISTS
from binestimator.inputs.trail import COLUMNS, Claim, Trail
from binestimator.model.system import RowState
from binestimator.ranges.find import with_ranges
from binestimator.results import ANNUAL, SAVING_KEYS, to_plain
from binestimator.steps import weather_of
from binestimator.workbook import layout, texts
from binestimator.workbook.write import handed_over, results_bytes

ROOT = Path(__file__).resolve().parents[1]
README = ROOT / "README.md"
#: Every document of the project, by its path from the top.
DOCUMENTS = ("README.md", "DEVELOPERS.md", *sorted(str(p.relative_to(ROOT)) for p in ROOT.glob("[!.]*/**/README.md")))
#: A README for newcomers is read in one go. [bytes]
MOST_BYTES = 14_000
#: Programs as they are after the set-up, without an activated environment.
PROGRAM = ".venv/bin/binestimator"
BLOCK = re.compile(r"<!-- block: (\w+) -->\n(.*?)<!-- end -->", re.DOTALL)
OFFICE = "office/office.toml"
DEMOS = ("office/office.toml", "clinic/clinic.toml", "field_station/field_station.toml")
BINS = ["weather/723170TYA.CSV", "--hours", "7", "18"]


def text_of(document):
    return (ROOT / document).read_text(encoding="utf-8")


def table(heads, rows):
    """Markdown table."""
    cell = lambda text: str(text).replace("|", "\\|").replace("\n", " ")
    lines = [heads, ["---"] * len(heads), *rows]
    return "".join("| " + " | ".join(map(cell, line)) + " |\n" for line in lines)


def bullets(pairs):
    return "".join(f"- **{head}.** {text}\n" if head else f"- {text}\n" for head, text in pairs)


# --- blocks that must agree word by word ----------------------------------------------------------


def annual():
    return table(
        ("Key", "Unit", "What it contains"),
        [(f"`{key}`", unit, f"{label}: {what[0].lower()}{what[1:]}") for key, label, unit, what in ANNUAL],
    )


def saving():
    return ", ".join(f"`{key}`" for key in SAVING_KEYS) + ".\n"


def sheets():
    rows = [
        (name, layout.CONTENTS[name])
        for name in (*layout.OWNER_SHEETS, *layout.REVIEWER_SHEETS, *layout.MACHINE_SHEETS)
    ]
    rows.append(
        (
            "`1 As found`, ...",
            f"a sheet for each of the first {layout.MOST_CANDIDATE_SHEETS} options, {layout.CANDIDATE_CONTENTS}",
        )
    )
    return table(("Sheet", "What it holds"), rows)


def live_sheets():
    return table(("Sheet", "What it holds"), ((f"`{name}`", what) for name, what in layout.LIVE_CONTENTS.items()))


def options():
    rows = []
    commands = next(
        action for action in cli.parser()._actions if isinstance(action, argparse._SubParsersAction)
    ).choices
    for name, command in commands.items():
        for action in command._actions:
            if isinstance(action, argparse._HelpAction):
                continue
            shown = ", ".join(action.option_strings) or action.metavar
            values = action.metavar if action.option_strings else None
            if values is None and action.choices and action.option_strings:
                values = "|".join(map(str, action.choices))
            values = " ".join(values) if isinstance(values, tuple) else values
            rows.append((f"`{name}`", f"`{shown}{' ' + values if values else ''}`", action.help.replace("%%", "%")))
    return table(("Command", "Argument", "What it does"), rows)


def sections():
    rows = []
    for section in SECTIONS:
        header = (
            f"[[{section}]]"
            if section in LIST_SECTIONS
            else f"[{section}.<strategy>]"
            if section in STRATEGY_SECTIONS
            else f"[{section}]"
        )
        fields = fields_of(section)
        needed = [f"`{name}`" for name, field in fields.items() if field.required and name != "strategy"]
        some = [f"`{name}`" for name, field in fields.items() if not field.required][: 4 if needed else 5]
        rows.append((f"`{header}`", title_of(section), len(fields), ", ".join(needed), ", ".join(some)))
    for section in TERM_SECTIONS:
        fields = fields_of(section)
        needed = [f"`{name}`" for name, field in fields.items() if field.required]
        some = [f"`{name}`" for name, field in fields.items() if not field.required][:4]
        header = f"[[{section}]]" if section in TERM_LISTS else f"[{section}]"
        rows.append((f"`{header}`", title_of(section), len(fields), ", ".join(needed), ", ".join(some)))
    return table(("Table", "What it describes", "Inputs", "Required", "Among the others"), rows)


def sources():
    return table(
        ("Document", "Where in it", "Used for", "How it was seen"),
        [(*line, texts.SEEN[how]) for *line, how in texts.SOURCES],
    )


def not_modelled():
    return bullets(("", text) for text in texts.NOT_MODELLED)


def cautions():
    return texts.DEFERENCE + "\n\n" + bullets(texts.CAUTIONS)


def weather_caveats():
    return bullets(("", text) for text in texts.WEATHER_CAVEATS)


def glossary():
    return table(("Word", "Meaning"), texts.GLOSSARY)


def row_columns():
    rows = [
        (group.split(" (")[0], f"`{c.key}`", c.label, c.unit)
        for group, columns in layout.CANDIDATE_GROUPS
        for c in columns
    ]
    return table(("Step", "Column", "What it is", "Unit"), rows)


EXACT = {
    f.__name__: f
    for f in (
        annual,
        saving,
        sheets,
        live_sheets,
        options,
        sections,
        sources,
        not_modelled,
        cautions,
        weather_caveats,
        glossary,
        row_columns,
    )
}

# --- blocks of printed figures ----------------------------------------------------------------------


@cache
def advised():
    """Results of the office as the command has them."""
    from binestimator.steps import weather_of

    project = read_project(FOLDER / OFFICE)
    return with_ranges(advise(dataclasses.replace(results_of(OFFICE), weather=weather_of(project))))


def printed_parts():
    """The output of the tour up to the best option and its reasons, and what follows."""
    from binestimator.terminal import comparison

    parts = comparison(advised()).split("\n\n")
    cut = next(k for k, part in enumerate(parts) if part.startswith("* best")) + 1
    return "\n\n".join(parts[:cut]), "\n\n".join(parts[cut:])


def tour():
    files = (
        "...\n\nWorkbook      output/office.xlsx\nResults file  output/office.json\n"
        f"Hand-over     output/office_handover.txt ({handed_over(advised()).choice.candidate_id})\n"
    )
    return f"```console\n$ {PROGRAM} estimate demo_projects/{OFFICE}\n{printed_parts()[0]}\n\n{files}```\n"


def tour_rest():
    return f"```console\n{printed_parts()[1]}\n```\n"


def bins():
    text = io.StringIO()
    with contextlib.redirect_stdout(text), contextlib.chdir(ROOT):
        cli.main(["bins", *BINS])
    lines = text.getvalue().splitlines()
    rules = [k for k, line in enumerate(lines) if line.startswith("---")]
    # The middle of the table is left out.
    lines[rules[0] + 4 : rules[1] - 3] = [" ".join(["   ..."] * 3)]
    return f"```console\n$ {PROGRAM} bins {' '.join(BINS)}\n" + "\n".join(lines[:-3]).rstrip() + "\n```\n"


def accuracy():
    rows = []
    for demo in DEMOS:
        results = results_of(demo)
        for kind, count in (("annual", len(results.row_table)), ("classic", results.row_table["group"].nunique())):
            pairs = [(getattr(c, kind), c.hourly) for c in results.candidates]
            base, base_hourly = getattr(results.baseline, kind), results.baseline.hourly
            points = max(
                (abs(a["cost_usd"] / base["cost_usd"] - h["cost_usd"] / base_hourly["cost_usd"]) for a, h in pairs)
            )
            worst = lambda key: max((a[key] / h[key] - 1.0 for a, h in pairs if h[key] > 0), key=abs, default=0.0)
            rows.append(
                (
                    demo.split("/")[0].replace("_", " "),
                    "representative" if kind == "annual" else "mean",
                    count,
                    f"{100 * worst('cost_usd'):+.2f} %",
                    f"{100 * points:.2f} points",
                    *(f"{100 * worst(key):+.1f} %" for key in ("fan_kwh", "reheat_kbtu")),
                )
            )
    return table(
        (
            "Demo",
            "`rows`",
            "Rows",
            "Energy cost, worst option",
            "Saving, worst",
            "Fan energy, worst",
            "Reheat, worst",
        ),
        rows,
    )


PRINTED = {f.__name__: f for f in (tour, tour_rest, bins, accuracy)}


# --- tests ----------------------------------------------------------------------------------------


def all_blocks():
    """Name and text of every block of every document."""
    return [block for document in DOCUMENTS for block in BLOCK.findall(text_of(document))]


def blocks():
    return dict(all_blocks())


@pytest.mark.parametrize("name", EXACT)
def test_block_is_what_the_code_says(name):
    assert blocks()[name] == EXACT[name](), "python tests/test_readme.py --write"


def test_every_block_is_known_and_printed_once():
    assert sorted(name for name, _ in all_blocks()) == sorted([*EXACT, *PRINTED, "minimal"])


NUMBER = re.compile(r"-?\d[\d,]*(?:\.\d+)?")


def parted(text):
    """Words without their numbers, and the numbers as written."""
    return NUMBER.sub("#", text).split(), NUMBER.findall(text)


@pytest.mark.regression
@pytest.mark.parametrize("name", ["tour", "tour_rest", "bins"])
def test_printed_output_is_that_of_the_command(name):
    """Words agree, and figures to the accuracy of the rows: another linear algebra library may choose
    other rows of the same accuracy. Savings are known to 0.3 points of some 39,000 USD, so small
    whole numbers may differ by 120, those with decimals (percent, years) by 0.3."""
    words, numbers = parted(blocks()[name])
    now_words, now_numbers = parted(PRINTED[name]())
    assert words == now_words, "python tests/test_readme.py --write"
    for printed, now in zip(numbers, now_numbers, strict=True):
        least = 0.0 if name == "bins" else 0.3 if "." in now else 120.0
        value = float(now.replace(",", ""))
        assert abs(float(printed.replace(",", "")) - value) <= max(0.01 * abs(value), least), (
            "python tests/test_readme.py --write"
        )


def test_minimal_project_is_complete():
    text = blocks()["minimal"].removeprefix("```toml\n").removesuffix("```\n")
    project = project_from_mapping(tomllib.loads(text), source_dir=ROOT)
    assert len(project.candidates) == 8 and project.candidate("dsp_demand").cost_usd == 6000
    assert any(zone.name == "Server room" for zone in project.zones)


def test_what_the_readme_says_of_the_minimal_project():
    """Demand resets serve; without its importance the server room would be ignored, and every demand reset flagged for
    it."""
    raw = tomllib.loads(blocks()["minimal"].removeprefix("```toml\n").removesuffix("```\n"))
    flagged = {}
    for importance in (3, 1):
        (special,) = raw["special"]
        # Flags come from the hours, whatever the rows.
        changes = {"special": [{**special, "importance": importance}], "bins": {"rows": "mean"}}
        project = project_from_mapping(raw | changes, source_dir=ROOT)
        results = estimate(project, weather_of(project))
        flagged[importance] = {c.id: c.equal_service.reasons for c in results.candidates if c.equal_service.flagged}
    demand = {"sat_demand", "dsp_demand", "sat_demand_dsp_demand"}
    assert not demand & set(flagged[3]) and "sat_outdoor_air" in flagged[3]
    assert demand < set(flagged[1]) and all(
        "in Server room, " in reason for id_ in demand for reason in flagged[1][id_]
    )


def keys_of(value):
    """Every key of the results file, however deep."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield key
            yield from keys_of(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from keys_of(inner)


def test_every_key_of_the_results_file_is_documented():
    carried = Trail(
        run_id="0" * 12, claims=(Claim("as_found", "As found", 1.0, 0.0),), given={}, questions=(("",) * COLUMNS,)
    )
    data = json.loads(results_bytes(advised(), trail=carried))
    assert set(to_plain(advised())) < set(data)
    sizes = set(data.pop("sizes"))  # paths of inputs
    data["sizes"] = {"path": {"value": 0, "unit": "", "origin": ""}}
    text = text_of("output/README.md")
    known = set(re.findall(r"`([a-z_0-9.]+)`", text)) | {
        part for word in re.findall(r"`([a-z_]+\.[a-z_]+)`", text) for part in word.split(".")
    }
    assert sizes and set(keys_of(data)) - {"path"} <= known


def test_every_field_of_a_row_is_in_the_nomenclature():
    block = blocks()["row_columns"]
    # The pressure at the terminals differs from that in the duct only at the fan's ceiling; it has its column where
    # that binds.
    assert [f.name for f in dataclasses.fields(RowState) if f"`{f.name}`" not in block] == ["dsp_held_inwc"]


def test_every_strategy_and_default_candidate_is_described():
    from binestimator.inputs import DEFAULT_CANDIDATES

    text = text_of("demo_projects/README.md")
    names = {choice for part in STRATEGY_SECTIONS for choice in fields_of(part)["strategy"].choices}
    assert [name for name in (*names, *DEFAULT_CANDIDATES) if f"`{name}`" not in text] == []


def anchors(document):
    """Anchors of the headings of a document."""
    prose = re.sub(r"```.*?```", "", text_of(document), flags=re.DOTALL)
    heads = (line.lstrip("# ").lower() for line in prose.splitlines() if line.startswith("#"))
    return {re.sub(r"[^\w -]", "", head).replace(" ", "-") for head in heads}


@pytest.mark.parametrize("document", DOCUMENTS)
def test_files_and_links_exist(document):
    text = text_of(document)
    for link in re.findall(r"\]\(([^)]+)\)", text):
        path, _, anchor = link.partition("#")
        aim = ((ROOT / document).parent / path).resolve() if path else ROOT / document
        assert aim.exists(), link
        assert not anchor or anchor in anchors(aim.relative_to(ROOT)), link
    for path in re.findall(r"`((?:tests|demo_projects|binestimator|weather|\.dev|\.ci)/[\w./-]*)`", text):
        assert (ROOT / path).exists(), path


def test_readme_is_short_and_names_the_job():
    text = text_of("README.md")
    assert len(text.encode()) <= MOST_BYTES
    assert "binestimator estimate" in text and ".dev/test" in text
    # From the top every other README can be reached.
    beside = {d for d in DOCUMENTS if d.count("/") <= 1} - {"README.md"}
    assert beside <= {link.partition("#")[0] for link in re.findall(r"\]\(([^)]+)\)", text)}


def printed_commands():
    for document in DOCUMENTS:
        for line in re.findall(rf"(?:^\$ |^|`)({re.escape(PROGRAM)} [^`\n]*)", text_of(document), re.MULTILINE):
            yield document, line


@pytest.mark.parametrize(("document", "line"), tuple(printed_commands()))
def test_printed_commands_are_commands(document, line):
    """Typed at the top of a clone after the set-up; files of the project that they name exist."""
    words = shlex.split(line, comments=True)[1:]
    cli.parser().parse_args(words)
    for word in words:
        if word.startswith(("demo_projects/", "weather/")):
            assert (ROOT / word).is_file(), line


def test_no_text_stands_twice():
    """Sentences of more than a few words: what is said in one README is linked from the others."""
    found = Counter()
    for document in DOCUMENTS:
        prose = re.sub(r"```.*?```|^\|.*?$", "", text_of(document), flags=re.DOTALL | re.MULTILINE)
        for paragraph in re.split(r"\n\s*\n|\n\s*- ", prose):
            found.update(s.strip() for s in re.split(r"(?<=[.:;]) ", " ".join(paragraph.split())) if len(s) > 60)
    assert [sentence for sentence, times in found.items() if times > 1] == []


def write():
    """Put every block into its README as the code gives it now."""
    made = {name: make() for name, make in {**EXACT, **PRINTED}.items()}
    for document in DOCUMENTS:
        old = text_of(document)
        new = BLOCK.sub(lambda m: f"<!-- block: {m[1]} -->\n{made.get(m[1], m[2])}<!-- end -->", old)
        if new != old:
            (ROOT / document).write_text(new, encoding="utf-8")


if __name__ == "__main__":
    if sys.argv[1:] == ["--write"]:
        write()
    else:
        sys.exit("python tests/test_readme.py --write")
