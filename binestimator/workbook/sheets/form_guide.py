"""First sheet of an input form: what to fill in, in which order, with examples."""

from __future__ import annotations

from ...inputs.form_keys import INPUTS, PROFILES, QUICK, STRATEGIES, ZONES
from ...inputs.schema import STATUSES, fields_of
from ..page import height_of, lines_of, title
from ..strict import Sheet
from .form_cells import KIND_WORDS, FormPages, allowed_text

SHEET = "How to fill in"
_WIDTHS = (7.0, 36.0, 60.0, 50.0)

_STEPS = (
    (
        INPUTS,
        "Name and weather",
        "The name of the project and the typical-year weather file (TMY3, TMY2 or EPW) that is beside this file "
        "or in the folder "
        "weather. Both are required.",
        "Project: Lantern Yard office  ·  Weather file: 723170TYA.CSV",
    ),
    (
        PROFILES,
        "Profile groups",
        "At least one: a name, its hours, people, lights and equipment. Zones with the same use share a group.",
        "office: weekdays 7, 18; saturdays 8, 13; 180 ft²/person  ·  network: always on: yes; equipment 15 W/ft²",
    ),
    (
        INPUTS,
        "Building in short",
        "Under “Building and quick description”: floor area, floors, glass shares. Giving the floor area makes the "
        "zones. "
        "Leave it empty when you list the zones yourself.",
        "Floor area 88000 ft²; floors 4; aspect ratio 1.6",
    ),
    (
        PROFILES,
        "Special zones",
        "Rooms that a quick description would miss: meeting rooms, network rooms. They are taken out of the core.",
        "Network rooms: group network; 150 ft² each; 2 of them; warmest SAT allowed 58 °F",
    ),
    (
        ZONES,
        "Zones",
        "One line each, instead of the quick description or besides it. A name and a floor area are required; the "
        "rest may wait.",
        "Lobby: group office; 1400 ft²; conductance 330 Btu/h·°F; south glass 260 ft²; k 0.55",
    ),
    (
        INPUTS,
        "Air handler, fan, plant, prices",
        "What you know: design airflow, fan pressures, motor, one measured point, source of cooling and heat, prices. "
        "What is empty is sized or taken from the defaults beside it.",
        "Motor 75 hp; measured 35000 cfm, 2.6 in. w.c., 20.8 kW; 0.104 USD/kWh",
    ),
    (
        STRATEGIES,
        "Strategies",
        "The eight usual pairings are there already. Give their costs; correct what the controls do now under “as "
        "found”; add your own in the "
        "empty columns with an id and a name.",
        "as found SAT: x1 45, y1 58, x2 65, y2 55  ·  sat_demand: cost 9800 USD",
    ),
    (
        INPUTS,
        "Evidence and status",
        "Beside each value: where it comes from, and how it was obtained: " + ", ".join(STATUSES) + ".",
        "Motor nameplate output: nameplate; photo 12",
    ),
)

_NOTES = (
    "Sand-coloured cells are yours. An empty one means: not given; then the cell under “Otherwise” counts. “none” "
    "takes away a value that need not be there.",
    "Green-rimmed cells are for a reviewer: a value there counts in what is reviewed and is reported beside the "
    "claim, never in place of it.",
    "Type values, no formulas: a formula, a date, merged cells or an error value in a cell that is read is refused, "
    "with sheet and cell.",
    "Lists are typed with commas: hours 7, 18 or closed; days 01-01, 12-25 or no days; profiles 24 shares 0 to 1.",
    "Lines may be added, sorted and left empty, but keep the small keys at the edge: values are found by them.",
    "Then:  binestimator estimate THIS-FILE.xlsx",
)


def write(form: FormPages, sheet: Sheet, empty: bool) -> None:
    """Write the sheet.

    Parameters
    ----------
    empty : bool
        Nothing has been given yet: the steps lead; else they are a reminder.
    """
    s = form.styles
    title(
        form,
        sheet,
        "Input form" if empty else "Input form, filled in",
        "From the first name to an estimate in eight steps; the first two are required, "
        "with either the third or the fifth" + (f"; “{QUICK}” stands for all of them" if empty else ""),
    )
    sheet.widths(_WIDTHS)
    row = 3
    for column, text in enumerate(("Step", "Where", "What to give", "Example (invented)")):
        sheet.text(row, column, text, s("head_left"))
    for number, (place, head, text, example) in enumerate(_STEPS, 1):
        row += 1
        sheet.text(row, 0, f"{number}", s("line", "top", "bold", "centre"))
        sheet.internal_link(row, 1, place, head if head == place else f"{head} (on {place})", s("link", "line", "top"))
        sheet.text(row, 2, text, s("wrap", "line"))
        sheet.text(row, 3, example, s("text_small", "line", "quiet"))
        sheet.height(row, height_of(max(lines_of(text, _WIDTHS[2]), lines_of(example, _WIDTHS[3], 8.0))))
    row = _head(form, sheet, row + 2, "Rules")
    for text in _NOTES:
        sheet.merged_text(row, 0, row, 3, text, s("wrap", "line"))
        sheet.height(row, height_of(lines_of(text, sum(_WIDTHS))))
        row += 1
    row = _head(form, sheet, row + 1, "Required inputs")
    for section, name in (
        ("project", "name"),
        ("weather", "file"),
        ("group", "name"),
        ("zone", "name"),
        ("zone", "area_ft2"),
        ("special", "name"),
        ("special", "group"),
        ("special", "area_ft2"),
        ("candidate", "id"),
        ("candidate", "name"),
        ("sat", "strategy"),
        ("dsp", "strategy"),
    ):
        field = fields_of(section)[name]
        sheet.text(row, 0, "", s("line"))
        sheet.text(
            row,
            1,
            f"{_THINGS[section]}: "
            f"{field.label[:1].lower() + field.label[1:] if not field.label[:3].isupper() else field.label}",
            s("line", "bold", "top"),
        )
        sheet.text(row, 2, _WHEN.get(section, "always"), s("line", "top"))
        sheet.text(row, 3, allowed_text(field), s("text_small", "line", "quiet"))
        sheet.height(row, height_of(lines_of(allowed_text(field), _WIDTHS[3], 8.0)))
        row += 1
    row = _head(form, sheet, row + 1, "Marks of what counts where nothing is given")
    for kind, text in _MARKS.items():
        sheet.text(row, 0, "", s("line"))
        sheet.text(row, 1, KIND_WORDS[kind], s("line"))
        sheet.text(row, 2, text, s("line", "wrap"))
        row += 1
    sheet.on_paper(footer=form.footer, last_row=row - 1, last_column=3, pages_high=1)


_WHEN = {
    "group": "for each profile group, one at least",
    "zone": "for each zone that is listed",
    "special": "for each special zone",
    "candidate": "for each option of your own",
    "sat": "for each option of your own",
    "dsp": "for each option of your own",
}
_THINGS = {
    "project": "Project",
    "weather": "Weather",
    "group": "Profile group",
    "zone": "Zone",
    "special": "Special zone",
    "candidate": "Option",
    "sat": "Option",
    "dsp": "Option",
}
_MARKS = {
    "default": "The program’s default, with its source",
    "derived": "Follows from other inputs, such as zones from the quick description",
    "sized": "Sized by a run and then held",
    "override": "The given value is overridden by the project’s own overrides, listed below the inputs",
    "required": "Has to be given",
}


def _head(form: FormPages, sheet: Sheet, row: int, text: str) -> int:
    sheet.height(row, 24)
    for column in range(4):
        sheet.text(row, column, text if column == 0 else "", form.styles("section"))
    return row + 1
