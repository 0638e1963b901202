"""What formulas do not find again: value blocks, what each rests on, and which an edit has made stale."""

from __future__ import annotations

from ...dataclass import dataclass
from ..addresses import column_name, reference
from ..layout import NOTHING_EDITED
from ..page import height_of, lines_of, title
from .registry import WORDS_ONLY, Registry

SHEET = "Held values"
_FIRST_INPUT = 28
_BANNER_ROW = 3
_BLOCK_ROW = 7
_RUN, _NOW, _CHANGED, _FOLLOWS, _READ, _FLAGS = 2, 3, 4, 5, 6, 7

_PHYSICS = (
    "weather.",
    "calendar.",
    "schedule.",
    "building.",
    "room_setpoints.",
    "special[",
    "group[",
    "zone[",
    "air_handler.",
    "outdoor_air.",
    "economizer.",
    "fan.",
    "return_fan.",
    "cooling.",
    "heating.",
    "preheat.",
)
# Terms of utilities and programmes: prices of energy, and what is charged or counted from the hours of a month.
_RATES = ("tariff.", "energy_price[")
_CHARGES = ("demand_charge[", "peak_window[", "bills.", "measures.")
_TIMES = ("_hours", "always_on", "_profile", "_frac")


@dataclass(frozen=True, slots=True)
class Block:
    """A value block.

    Parameters
    ----------
    name, where : str
    rests_on : str
        In words.
    starts : tuple of str
        Beginnings of the paths it rests on.
    rerun : str
        What a new run may change.
    """

    name: str
    where: str
    rests_on: str
    starts: tuple[str, ...]
    rerun: str


BLOCKS = (
    Block(
        "Rows and weights",
        "Bin rows; Loads: weights",
        "weather, calendar, hours, building, groups, zones, air handler, plants, limits, prices, bins",
        (*_PHYSICS, "limits.", "prices.", "bins.", *_RATES),
        "Other hours may represent a bin, with other weights: annual figures move by about the error shown on Checks.",
    ),
    Block(
        "Sun and shares of groups",
        "Loads: shares, sun",
        "weather, calendar, hours and profiles of groups, rotation, lag and radiant shares of the building",
        (
            "weather.",
            "calendar.",
            "schedule.",
            "building.rotation",
            "building.room_lag",
            "building.solar_radiant",
            "building.internal_radiant",
            "group[",
        ),
        "Gains and sun of every row. Densities, areas and glass are live.",
    ),
    Block(
        "Sizes not given",
        "Inputs and Zone inputs: values marked as sized; Air handler: supply coil",
        "weather, calendar, hours, building, groups, zones, air handler, fans, plants, baseline",
        (*_PHYSICS, "candidate", "rogue_zones.undersized"),
        "Terminal airflows, coils, motor, design airflow and plants are found again for the edited building.",
    ),
    Block(
        "Least-cost supply air",
        "Sheets of cost-optimal and cost-seeking options: setpoint column",
        "everything with a cost, limits, and the setpoints of other options",
        (*_PHYSICS, "limits.", "prices.", "candidate", *_RATES),
        "The search is made again: the optimum may move and saves at least as much. A cost-seeking controller comes to "
        "rest elsewhere.",
    ),
    Block(
        "Supply air colder for rooms short of air",
        "Sheets of options with supply air by demand: column before the setpoint",
        "everything that loads, airflows and requests rest on, limits, and the duct pressure of the option",
        (*_PHYSICS, "limits.", "candidate"),
        "Both resets are brought together again: supply air by demand may settle colder or warmer, mostly not at all.",
    ),
    Block(
        "Setback, warm-up and cool-down",
        "Sheets of options: line “Nights”",
        "weather, calendar, hours, building, groups, zones, air handler, plants",
        _PHYSICS,
        "Energy of hours outside the steady modes and of what the morning lacks; the fan follows the option’s duct "
        "pressure.",
    ),
    Block(
        "Counts, months, peaks, hourly audit, ranking, bound",
        "Comparison, Patterns, Zone service, Checks, charts",
        "all inputs",
        (*_PHYSICS, "limits.", "prices.", "service.", "bins.", "candidate", "rogue_zones.", *_RATES, *_CHARGES),
        "Hours counted, equal-service flags, ranks, charts, and the bound of perfect resets.",
    ),
    Block(
        "Peak windows and billed demand",
        "Money: demand in peak windows; Live year: charges by the month; incentives for each kW",
        "everything that energy by the hour rests on, windows, demand charges and tiers of the tariff",
        (*_PHYSICS, "limits.", "candidate", *_RATES, *_CHARGES),
        "Peaks of months and windows are found again hour by hour, and with them charges, tiers and what a kW is paid.",
    ),
    Block(
        "Ranges",
        "At a glance: ranges; Ranges; Money in charts",
        "all inputs and terms",
        (
            *(*_PHYSICS, "limits.", "prices.", "service.", "bins.", "candidate", "rogue_zones.", *_RATES, *_CHARGES),
            *("cost.", "life_cycle.", "incentive[", "range[", "ranges.", "weather_year["),
        ),
        "Draws are made again around the edited inputs: percentiles, probabilities, drivers, what to measure next.",
    ),
    Block(
        "Choices that the formulas are built for",
        "Live sheets",
        "inputs that no formula reads: types, yes or no, names of groups, shares of overrides that were none; as-found "
        "duct pressures where published fan curves go by whether they move",
        (),
        "The edit does not reach the figures here, or not all of them, until a new run.",
    ),
)
UNREAD = len(BLOCKS) - 1


#: Number of inputs that somebody has typed since the run; defaults that follow from them do not count.
EDITED = reference(SHEET, _BLOCK_ROW + len(BLOCKS) + 1, 2)


class HeldSheet:
    """The sheet of held values. Made first, so that formulas can compare with the run; written last.

    Parameters
    ----------
    pen : Pen
    sheet : Sheet
    registry : Registry
    """

    def __init__(self, pen, sheet, registry: Registry):
        self.pen, self.sheet, self.registry = pen, sheet, registry
        for k, path in enumerate(registry.paths()):
            registry.set_held(path, reference(SHEET, _FIRST_INPUT + k, _RUN))

    def write(self, results, short_areas: list[str], ceiling_areas: list[str]) -> str:
        """Write the sheet; returns the address of the banner.

        Parameters
        ----------
        short_areas : list of str
            Columns of candidates that count rows whose supply air would float and has no formulas for it.
        ceiling_areas : list of str
            Columns of candidates, without formulas for the fan's airflow ceiling, that are below 1 beyond it.
        """
        pen, sheet, s, registry = self.pen, self.sheet, self.pen.s, self.registry
        paths = registry.paths()
        last = _FIRST_INPUT + len(paths) + len(registry.term_lines()) - 1
        title(
            pen.work,
            sheet,
            "Held values",
            "What this file holds as values of the run, what each depends on, and which of them an edited input has "
            "made stale",
            link_column=1,
        )
        sheet.widths([44, 40, 18, 18, 10, 10, 10, *[12] * len(BLOCKS)])
        sheet.text(_BLOCK_ROW - 1, 0, "Value block", s("head_left"))
        for place, text in enumerate(("Where it is", "Changed inputs it depends on", "State"), 1):
            sheet.text(_BLOCK_ROW - 1, place, text, s("head_left"))
        sheet.height(_BLOCK_ROW - 1, 27)
        sheet.merged_text(_BLOCK_ROW - 1, 4, _BLOCK_ROW - 1, 7, "Rests on", s("head_left"))
        sheet.merged_text(_BLOCK_ROW - 1, 8, _BLOCK_ROW - 1, 12, "What a new run may change", s("head_left"))
        changed, following = (
            f"${column_name(column)}${_FIRST_INPUT + 1}:${column_name(column)}${last + 1}"
            for column in (_CHANGED, _FOLLOWS)
        )
        for k, block in enumerate(BLOCKS):
            row, letter = _BLOCK_ROW + k, column_name(_FLAGS + k)
            flags = f"${letter}${_FIRST_INPUT + 1}:${letter}${last + 1}"
            sheet.text(row, 0, block.name, s("wrap", "line", "bold"))
            sheet.text(row, 1, block.where, s("text_small", "line"))
            pen.formula(sheet, row, 2, f"=SUMPRODUCT({changed},{flags})", 0.0, s("f0", "line", "left"))
            word = "not reached" if k == UNREAD else "stale"
            pen.formula(sheet, row, 3, f'=IF(C{row + 1}=0,"as run","{word}")', "as run", s("line", "left"))
            sheet.merged_text(row, 4, row, 7, block.rests_on, s("text_small", "line"))
            sheet.merged_text(row, 8, row, 12, block.rerun, s("text_small", "line"))
            sheet.height(
                row,
                height_of(max(lines_of(block.rerun, 60), lines_of(block.rests_on, 44), lines_of(block.where, 40)), 8.4),
            )
        row = _BLOCK_ROW + len(BLOCKS)
        sheet.text(row, 0, "Rows that float or meet the fan's ceiling only after the edit", s("wrap", "line", "bold"))
        sheet.text(
            row,
            1,
            "Sheets of options: rows without formulas for supply air that cannot be held, or for the fan at its "
            "airflow ceiling",
            s("text_small", "line"),
        )
        areas = (
            "+".join([*(f"SUM({area})" for area in short_areas), *(f'COUNTIF({area},"<1")' for area in ceiling_areas)])
            or "0"
        )
        pen.formula(sheet, row, 2, f"={areas}", 0.0, s("f0", "line", "left"))
        pen.formula(sheet, row, 3, f'=IF(C{row + 1}=0,"none","new run needed")', "none", s("line", "left"))
        guard = row
        sheet.height(row, 27)
        row += 1
        sheet.text(row, 0, "Edited inputs in all", s("wrap", "line", "bold"))
        pen.formula(sheet, row, 2, f"=SUM({changed})-SUM({following})", 0.0, s("f0", "line", "left"))
        assert reference(SHEET, row, 2) == EDITED
        total = row
        self._banner(guard, total)
        self._inputs(results, paths)
        # The table of blocks above the inputs would fill a small screen if it stayed in view.
        sheet.freeze(0, 1)
        sheet.text(
            _FIRST_INPUT - 3,
            0,
            "Every input, as it was in the run and as it is now; 1 marks the blocks that rest on it. Not printed: the "
            "inputs are on their own sheets.",
            s("small", "quiet"),
        )
        sheet.on_paper(footer=pen.work.footer, last_row=total, last_column=_FLAGS + len(BLOCKS) - 1, letter=False)
        return reference(SHEET, _BANNER_ROW, 0)

    def _banner(self, guard: int, total: int) -> None:
        count = lambda k: f"C{_BLOCK_ROW + k + 1}"
        words = "&".join(f'IF({count(k)}>0,"; {block.name.lower()}","")' for k, block in enumerate(BLOCKS[:-1]))
        text = (
            f'=IF(C{total + 1}=0,"{NOTHING_EDITED}","▲ "&C{total + 1}&IF(C{total + 1}=1," input"," inputs")&" edited. '
            f'Live figures follow, but these are still as in the run"&{words}'
            f'&IF({count(UNREAD)}>0,". "&{count(UNREAD)}&" changed inputs are not, or not fully, reached by the '
            f'formulas","")'
            f'&IF(C{guard + 1}>0,". In "&C{guard + 1}&" rows supply air can now not be held, or the fan meets its '
            'ceiling, which formulas there do not follow","")&". Run the program again to renew them.")'
        )
        sheet, s = self.sheet, self.pen.s
        sheet.height(_BANNER_ROW - 1, 24)
        sheet.text(_BANNER_ROW - 1, 0, "State of this file", s("section"))
        self.pen.formula(sheet, _BANNER_ROW, 0, text, NOTHING_EDITED, s("bold"))

    def _inputs(self, results, paths: list[str]) -> None:
        pen, sheet, s, registry = self.pen, self.sheet, self.pen.s, self.registry
        head = _FIRST_INPUT - 1
        for place, text in enumerate(
            (
                "Input",
                "Key in the project file",
                "In the run",
                "Now",
                "Changed",
                "Not typed: follows another",
                "Read by formulas",
            )
        ):
            sheet.text(head, place, text, s("head_left"))
        for k, block in enumerate(BLOCKS):
            sheet.text(head, _FLAGS + k, block.name, s("head", "small"))
        sheet.height(head, 48)
        contents = {path: registry.contents[path] for path in paths}
        lines = [(path, registry.label(path)[0], registry.place(path), path in registry.read) for path in paths]
        for path, label, content, address in registry.term_lines():
            contents[path] = content
            lines.append((path, label, address, path in registry.read))
        small, number, flag = (
            s("line", "small"),
            s("general", "line", "small", "left"),
            s("f0", "line", "small", "centre"),
        )
        quiet = s("line", "small", "quiet")
        for row, (path, label, address, read) in enumerate(lines, _FIRST_INPUT):
            content = contents[path]
            sheet.text(row, 0, label, small)
            sheet.text(row, 1, path, quiet)
            sheet.cell(row, _RUN, content, number)
            pen.formula(sheet, row, _NOW, "=" + address, 0.0 if content is None else content, number)
            pen.formula(
                sheet, row, _CHANGED, f"=IF({column_name(_NOW)}{row + 1}={column_name(_RUN)}{row + 1},0,1)", 0.0, flag
            )
            if path in registry.follows:
                typed = "&".join(registry.follows[path])
                text = f'=IF(AND({column_name(_CHANGED)}{row + 1}=1,{typed}=""),1,0)'
                pen.formula(sheet, row, _FOLLOWS, text, 0.0, flag)
            else:
                sheet.blank(row, _FOLLOWS, flag)
            sheet.text(row, _READ, ("in part" if path in registry.decides else "yes") if read else "", small)
            general = _without_item(path)
            for k, block in enumerate(BLOCKS):
                if k == UNREAD:
                    rests = (not read or path in registry.decides) and not general.startswith(WORDS_ONLY)
                else:
                    rests = path.startswith(block.starts) and not general.startswith(WORDS_ONLY)
                    if block.name.startswith("Sun") and path.startswith("group["):
                        rests = path.endswith(_TIMES) and not path.endswith(
                            ("plenum_frac", "minimum_flow_frac", "minimum_unoccupied_frac")
                        )
                if rests:
                    sheet.number(row, _FLAGS + k, 1.0, flag)


def _without_item(path: str) -> str:
    """``candidate[a].name`` as ``candidate.name``."""
    start, bracket, rest = path.partition("[")
    return start + rest.rpartition("]")[2] if bracket else path
