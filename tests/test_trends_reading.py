"""Trend logs of every layout give the same samples; what is no log is refused in one message."""

from __future__ import annotations

import datetime
import gzip
import io
import zipfile

import numpy as np
import openpyxl
import pytest

from binestimator import cli
from binestimator.errors import InputError
from binestimator.trends import times
from binestimator.trends.cells import Words, numbers, plain_number
from binestimator.trends.point_units import converted, unit_in_name, unit_named
from binestimator.trends.points import kind_of_class, kinds, read_name, score
from binestimator.trends.study import read_trends
from binestimator.trends.tables import look

START = datetime.datetime(2025, 3, 30, 0, 0)
STEP = datetime.timedelta(minutes=15)
ROWS = 3 * 96
HEADS = [
    "Time",
    "Outside Air Temp",
    "Supply Air Temp",
    "Supply Air Temp Setpoint",
    "Duct Static Pressure",
    "Supply Fan Status",
]
UNITS = ["", "degF", "degF", "degF", "in. w.c.", ""]
KEYS = ("oat", "sat", "sat_setpoint", "dsp", "supply_fan_status")


def samples():
    """Stamps and values of a small log."""
    rng = np.random.default_rng(4)
    rows = []
    for k in range(ROWS):
        stamp = START + k * STEP
        on = 6 <= stamp.hour < 18
        rows.append(
            (
                stamp,
                round(48 + 14 * np.sin(k / 15.0) + rng.normal(0, 0.2), 2),
                round(55.3 + rng.normal(0, 0.2), 2) if on else 71.6,
                55.5,
                round(1.2 + rng.normal(0, 0.02), 3) if on else 0.0,
                int(on),
            )
        )
    return rows


DATA = samples()


def table(
    *, stamp=lambda t: t.strftime("%m/%d/%Y %H:%M"), heads=HEADS, sep=",", number=str, on=str, rows=DATA, before=()
):
    lines = [*before, sep.join(heads)]
    lines += [sep.join([stamp(r[0]), *(number(v) for v in r[1:5]), on(r[5])]) for r in rows]
    return "\n".join(lines) + "\n"


def comma(value):
    return str(value).replace(".", ",")


def named(*units):
    return [f"{head} ({unit})" if unit else head for head, unit in zip(HEADS, units)]


def long_lines():
    lines = ["Timestamp,Point Name,Value,Units,Status"]
    for k, head in enumerate(HEADS[1:]):
        for r in DATA:
            lines.append(f"{r[0].isoformat()},AHU-1 {head},{r[k + 1]},{UNITS[k + 1]},ok")
    return "\n".join(lines)


def celsius_lines():
    si = lambda r: (r[0], *(round((v - 32) / 1.8, 4) for v in r[1:4]), round(r[4] * 249.082, 3), r[5])
    return table(rows=[si(r) for r in DATA], heads=named("", "°C", "°C", "°C", "Pa", ""))


def ids_above():
    heads = ["Time", *(f"Point_{k}" for k in range(1, 6))]
    return table(heads=heads, before=[f"Point_{k}:,{head}" for k, head in enumerate(HEADS[1:], 1)])


def paired_lines():
    parts = [f"Time,{head}" for head in HEADS[1:]]
    lines = [",".join(parts)]
    for r in DATA:
        lines.append(",".join(f"{r[0]:%Y-%m-%d %H:%M},{v}" for v in r[1:]))
    return "\n".join(lines)


def two_stamps():
    lines = [",".join(["Date", *HEADS])]
    lines += [f"{r[0]:%d.%m.%Y},{r[0]:%H:%M:%S},{','.join(map(str, r[1:]))}" for r in DATA]
    return "\n".join(lines)


def end_of_day(t):
    if t.hour == t.minute == 0:
        return (t - datetime.timedelta(days=1)).strftime("%Y-%m-%d") + " 24:00"
    return t.strftime("%Y-%m-%d %H:%M")


def gaps():
    """Cells of every kind of nothing, each in some lines that are repeated whole after them."""
    lines = table().splitlines()
    out = [lines[0]]
    for k, line in enumerate(lines[1:]):
        if k % 60 == 7:
            word = ("No Data", "Bad", "---", "#N/A", "", "NaN", "72.5 {fault}")[k // 60 % 7]
            cells = line.split(",")
            out.append(",".join([cells[0], word, *cells[2:]]))
        out.append(line)
    return "\n".join(out)


LAYOUTS = {
    "plain": table().encode(),
    "byte order mark": b"\xef\xbb\xbf" + table().encode(),
    "UTF-16 with mark": table().encode("utf-16"),
    "UTF-16 without mark": table().encode("utf-16-le"),
    "one byte a letter": table(heads=named("", "°F", "°F", "°F", "inwc", "")).encode("cp1252"),
    "semicolons, decimal commas, days first": table(
        stamp=lambda t: t.strftime("%d.%m.%Y %H:%M"), sep=";", number=comma
    ).encode(),
    "tabs": table(sep="\t").encode(),
    "bars": table(sep="|").encode(),
    "line that names the sign": ("sep=;\n" + table(sep=";")).encode(),
    "headings over two lines": table(heads=['"' + "\n".join(h.split(" ", 1)) + '"' for h in HEADS]).encode(),
    "line of units": table(before=[",".join(HEADS)], heads=["", "°F", "°F", "°F", "in.w.c.", ""]).encode(),
    "lines above": table(before=["Trend export,Site A", "", "Made,2025-05-01 08:00"]).encode(),
    "status words": table(on=lambda on: "On" if on else "Off").encode(),
    "occupied words": table(on=lambda on: "OCC" if on else "UNOCC").encode(),
    "ISO with offsets": table(stamp=lambda t: t.isoformat() + "-05:00").encode(),
    "12-hour clock": table(stamp=lambda t: t.strftime("%m/%d/%Y %I:%M:%S %p")).encode(),
    "months by name": table(stamp=lambda t: t.strftime("%d-%b-%y %H:%M")).encode(),
    "days first with slashes": table(stamp=lambda t: t.strftime("%d/%m/%Y %H:%M")).encode(),
    "midnight as 24:00": table(stamp=end_of_day).encode(),
    "fractions of seconds": table(stamp=lambda t: t.strftime("%Y-%m-%dT%H:%M:%S.000")).encode(),
    "newest first": table(rows=DATA[::-1]).encode(),
    "in no order": table(rows=[DATA[k] for k in np.random.default_rng(1).permutation(ROWS)]).encode(),
    "units after numbers": table(number=lambda v: f"{v} {{ok}}").encode(),
    "quoted": table(number=lambda v: f'"{v}"').encode(),
    "old line ends": table().replace("\n", "\r\n").encode(),
    "empty columns": "\n".join(line + ",,," for line in table().splitlines()).encode(),
    "400 columns": "\n".join(
        line + "," + ",".join([f"Spare {k}" for k in range(395)] if n == 0 else ["0"] * 395)
        for n, line in enumerate(table().splitlines())
    ).encode(),
    "a line a sample": long_lines().encode(),
    "degC and Pa": celsius_lines().encode(),
    "numbered columns": ids_above().encode(),
    "time and value in turns": paired_lines().encode(),
    "date and time apart": two_stamps().encode(),
    "words for nothing": gaps().encode(),
    "repeated lines": "\n".join(np.repeat(table().splitlines(), [1] + [2] * ROWS)).encode(),
}


def expected(key):
    column = np.array([r[KEYS.index(key) + 1] for r in DATA], dtype=float)
    return np.array([r[0] for r in DATA], dtype="datetime64[s]"), column


def read(path):
    return read_trends([path] if not isinstance(path, list) else path)


def assert_same(log, *, within=1e-4, missing=0):
    assert set(KEYS) <= set(log.values) or {"mode"} <= set(log.values)
    for key in KEYS:
        stamps, wanted = expected(key)
        values = log.values[key] if key in log.values else log.values["mode"]
        place = np.searchsorted(log.start, stamps)
        assert (log.start[np.minimum(place, len(log.start) - 1)] == stamps).all(), key
        got = values[place].astype(float)
        known = np.isfinite(got)
        assert np.count_nonzero(~known) <= missing, key
        # Single precision is what samples are kept in; SI files are rounded in the test.
        assert np.abs(got - wanted)[known].max() <= within * max(1.0, np.abs(wanted).max()), key


@pytest.mark.crosscheck
@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_layout_gives_the_same_samples(layout, tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes(LAYOUTS[layout])
    log = read(path)
    if layout == "occupied words":  # a fan status in words of occupancy is on and off all the same
        assert "supply_fan_status" in log.values
    assert_same(log)


@pytest.mark.crosscheck
@pytest.mark.parametrize("form", ["s", "ms"])
def test_seconds_since_1970_in_a_named_zone(form, tmp_path):
    zone = datetime.timezone(datetime.timedelta(hours=-7))  # Phoenix, which keeps no daylight saving
    factor = 1000 if form == "ms" else 1
    text = table(stamp=lambda t: str(int(t.replace(tzinfo=zone).timestamp()) * factor))
    path = tmp_path / "log.csv"
    path.write_text(text)
    assert_same(read_trends([path], timezone="America/Phoenix"))
    # Without a zone the hours are those of UTC, and no schedule is taken from them.
    from binestimator.trends.study import study

    found = study(read_trends([path]))["operating_hours"]
    assert "UTC" in found.reason and not found.inputs and found.caution


@pytest.mark.crosscheck
def test_workbook_with_a_sheet_a_part(tmp_path):
    book = openpyxl.Workbook()
    notes = book.active
    notes.title = "Notes"
    notes.append(["Exported by nobody"])
    sheet = book.create_sheet("AHU")
    sheet.append(HEADS)
    sheet.append(UNITS)
    for row in DATA:
        sheet.append(list(row))
    book.save(tmp_path / "log.xlsx")
    assert_same(read(tmp_path / "log.xlsx"))


@pytest.mark.crosscheck
def test_one_file_a_point_named_by_the_file(tmp_path):
    paths = []
    for k, head in enumerate(HEADS[1:]):
        path = tmp_path / f"AHU-1 {head}.csv"
        path.write_text("Time,Value\n" + "\n".join(f"{r[0]:%Y-%m-%d %H:%M},{r[k + 1]}" for r in DATA))
        paths.append(path)
    assert_same(read(paths))


@pytest.mark.crosscheck
def test_on_change_of_value_holds_until_the_next(tmp_path):
    lines = ["Timestamp,Name,Value"]
    last: dict = {}
    rng = np.random.default_rng(3)
    for r in DATA:
        for k, head in enumerate(HEADS[1:]):
            if last.get(head) != r[k + 1]:
                last[head] = r[k + 1]
                stamp = r[0] + datetime.timedelta(seconds=int(rng.integers(0, 600)))
                lines.append(f"{stamp:%Y-%m-%d %H:%M:%S},{head},{r[k + 1]}")
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines))
    log = read(path)
    assert log.stats["supply_fan_status"].on_change and log.stats["sat_setpoint"].on_change
    setpoint = log.values["sat_setpoint"]
    assert np.isfinite(setpoint[1:]).all() and np.nanmax(np.abs(setpoint - 55.5)) < 1e-5
    status = log.values["supply_fan_status"]
    hour = log.hour
    assert (
        np.nanmean(status[(hour >= 6.5) & (hour < 17.5)]) == 1.0
        and np.nanmean(status[(hour > 19) & (hour < 23)]) == 0.0
    )


@pytest.mark.crosscheck
def test_values_by_threshold_at_fixed_times_are_known_to_be_on_change(tmp_path):
    """A controller that looks every ten minutes and logs what has moved by a threshold, one file a point: what rests
    at night is known there, a setpoint that never moves is one line, and a column of status is no point."""
    threshold = {"OAT": 0.3, "DAT": 0.3, "DAT-SP": 0.1, "Duct Static Pressure": 0.02, "SF-S": 0.5}
    paths = []
    for k, (head, least) in enumerate(threshold.items()):
        lines, last = [f'"Trend: Hall/AHU-1/{head}"', "Timestamp,Value,Status"], None
        for r in DATA:
            if last is None or abs(r[k + 1] - last) >= least:
                last = r[k + 1]
                word = ("Stop", "Start")[last] if head == "SF-S" else last
                lines.append(f"{r[0]:%d-%b-%y %I:%M:%S %p} EST,{word},{{ok}}")
        paths.append(tmp_path / f"{head}.csv")
        paths[-1].write_text("\n".join(lines))
    assert len(paths[2].read_text().splitlines()) == 3
    log = read(paths)
    assert set(log.values) == set(KEYS) and all(log.stats[key].on_change for key in KEYS)
    assert {entry.column for entry in log.points.entries} == set(threshold)
    for key, least in zip(KEYS, threshold.values(), strict=True):
        stamps, wanted = expected(key)
        got = log.values[key][np.searchsorted(log.start, stamps)]
        # Up to the last change of any point, since no log says how long it went on.
        until = np.flatnonzero(np.isfinite(log.values["supply_fan_status"]))[-1]
        within = stamps <= log.start[until]
        assert np.isfinite(got[within]).mean() > 0.99 and np.nanmax(np.abs(got - wanted)[within]) < least + 1e-4, key


@pytest.mark.invariant
def test_gaps_of_a_sensor_that_is_read_at_fixed_times_stay_gaps(tmp_path):
    rng = np.random.default_rng(8)
    lines, away = ["Timestamp,OAT (degF),DAT (degF)"], 0
    for r in DATA:
        away = 12 if away <= 0 and rng.random() < 0.05 else away - 1
        lines.append(f"{r[0]:%Y-%m-%d %H:%M},{r[1]},{'' if away > 0 else round(56 + rng.normal(0, 1), 3)}")
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines))
    log = read(path)
    assert not log.stats["sat"].on_change and np.isfinite(log.values["sat"]).mean() < 0.8


@pytest.mark.crosscheck
def test_values_of_bad_status_are_left_out(tmp_path):
    lines = ["Time,DAT (degF),Status"]
    lines += [f"{r[0]:%Y-%m-%d %H:%M},{r[2]},{'fault' if k % 10 == 0 else 'ok'}" for k, r in enumerate(DATA)]
    path = tmp_path / "AHU-1.csv"
    path.write_text("\n".join(lines))
    log = read(path)
    assert set(log.values) == {"sat"} and log.stats["sat"].untrusted == len(DATA[::10])


def test_columns_beyond_the_table_of_a_workbook_are_no_points(tmp_path):
    book = openpyxl.Workbook()
    book.active.append(HEADS)
    for row in DATA:
        book.active.append(list(row))
    book.active.cell(1, 60).font = openpyxl.styles.Font(bold=True)
    book.save(tmp_path / "log.xlsx")
    assert len(read(tmp_path / "log.xlsx").points.entries) == len(HEADS) - 1


@pytest.mark.invariant
def test_wrong_samples_are_left_out_and_counted(tmp_path):
    rows = [list(r) for r in DATA]
    rows[10][1] = 999.0  # out of range
    rows[50][2] = 0.0  # what a lost sensor reads
    path = tmp_path / "log.csv"
    path.write_text(table(rows=rows) + "not a time,1,2,3,4,5\n04/03/2025 00:00,1,2,3,4,5,6,7,8\n")
    log = read(path)
    assert log.stats["oat"].out_of_range == 1 and log.stats["oat"].outliers == [999.0]
    assert log.stats["sat"].zeros == 1
    assert log.tables[0].unread_times == 1
    assert_same(log, missing=1)


@pytest.mark.invariant
def test_single_spikes_are_left_out_at_short_steps(tmp_path):
    lines = ["Time,Supply Air Temp,Return Air Temp,Outside Air Temp"]
    for k in range(600):
        sat = 55.0 + (40.0 if k == 300 else 0.0) + 20.0 * (k >= 450)  # a spike, and a step that stays
        lines.append(f"2025-01-05 {k // 60:02d}:{k % 60:02d},{sat},72,{40 + k / 60}")
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines))
    log = read(path)
    assert log.stats["sat"].spikes == 1
    assert np.isnan(log.values["sat"][300]) and log.values["sat"][460] == 75.0
    assert np.count_nonzero(np.isnan(log.values["sat"])) == 1


@pytest.mark.invariant
def test_lines_of_zeros_are_left_out_whole(tmp_path):
    lines = ["Time,Supply Air Temp,Mixed Air Temp,Return Air Temp,Duct Static Pressure Setpoint"]
    lines += [f"2025-01-05 {k // 60:02d}:{k % 60:02d},{'0,0,0,0' if k == 100 else '55,60,72,1.5'}" for k in range(300)]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines))
    log = read(path)
    assert log.zero_lines == 1 and np.nanmin(log.values["dsp_setpoint"]) == 1.5


def test_several_air_handlers_are_told_apart(tmp_path):
    heads = ["Time"] + [f"AHU-{n} {h}" for n in (1, 2) for h in HEADS[1:]] + ["AHU-2 Return Air Temp"]
    lines = [",".join(heads)]
    for r in DATA:
        lines.append(
            ",".join([f"{r[0]:%Y-%m-%d %H:%M}", *map(str, r[1:]), *map(str, (v + 1 for v in r[1:5])), str(r[5]), "72"])
        )
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines))
    log = read(path)
    assert log.points.air_handler == "AHU-2" and log.points.others == ("AHU-1",)
    other = read_trends([path], air_handler="ahu-1")
    assert other.points.air_handler == "AHU-1"
    assert_same(other)
    with pytest.raises(InputError, match="AHU-1, AHU-2"):
        read_trends([path], air_handler="AHU-7")


def test_classes_and_tags_in_the_heading_map_by_themselves(tmp_path):
    brick = [
        "",
        "Outside_Air_Temperature_Sensor",
        "Supply_Air_Temperature_Sensor",
        "Supply_Air_Temperature_Setpoint",
        "Supply_Air_Static_Pressure_Sensor",
        "Supply_Fan_Status",
    ]
    tags = [
        "",
        "outside air temp sensor point",
        "discharge air temp sensor point",
        "discharge air temp sp point",
        "discharge air static pressure sensor point",
        "discharge fan run sensor point",
    ]
    for row in (brick, tags):
        path = tmp_path / "log.csv"
        path.write_text(table(heads=row, before=[",".join(["Time", *(f"X{k}" for k in range(1, 6))])]))
        assert_same(read(path))


# ---------------------------------------------------------------- what is no log


def packed():
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("log.csv", table())
    return buffer.getvalue()


HOSTILE = {
    "nothing": (b"", "is empty"),
    "blanks": (b"\n\n  \n", "is empty"),
    "zeros": (b"\0" * 5000, "is empty"),
    "random bytes": (np.random.default_rng(0).bytes(60_000), "no text"),
    "zip named csv": (packed(), "packed file"),
    "broken zip": (b"PK\x03\x04" + bytes(200), "packed file"),
    "gzip": (gzip.compress(table().encode()), "gzip"),
    "old workbook": (b"\xd0\xcf\x11\xe0" + bytes(600), "old office kind"),
    "PDF": (b"%PDF-1.7\n%" + bytes(range(128, 250)), "PDF"),
    "JSON": (b'{"rows": [1, 2, 3]}', "JSON"),
    "web page": (b"<html><body>Log in</body></html>", "web page"),
    "one huge line": (b"a," * 900_000, "characters"),
    "huge line after a heading": (b"Time,Supply Air Temp\n" + b"x" * 500_000 + b"\n", "characters"),
    "no dates": (b"a,b\n1,2\n3,4\n", "no column of dates"),
    "times of day alone": (b"Time,Supply Air Temp\n06:00,55\n06:05,55\n06:10,55\n", "no dates"),
    "a heading alone": (b"Time,Supply Air Temp\n", "no column of dates"),
    "prose": (b"Dear all,\nhere are the trends.\nRegards\n", "no column of dates"),
    "dates alone": (b"Time\n2025-01-01 06:00\n2025-01-01 06:05\n", "no column of values"),
    "no known point": (b"Time,Foo\n2025-01-01 06:00,1\n2025-01-01 06:05,2\n", "no value of any mapped point"),
    "nothing but words": (
        b"Time,Supply Air Temp\n2025-01-01 06:00,x\n2025-01-01 06:05,y\n",
        "no value of any mapped point",
    ),
    "too many columns": (b"Time," + b",".join(b"c" for _ in range(5000)) + b"\n", "columns"),
}


@pytest.mark.parametrize("what", HOSTILE)
def test_what_is_no_log_ends_in_one_message(what, tmp_path, capsys):
    content, words = HOSTILE[what]
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    out = tmp_path / "fragment.toml"
    code = cli.main(["trends", str(path), "--out", str(out), "--json", str(tmp_path / "x.json")])
    said = capsys.readouterr().err
    assert code == 2 and said.startswith("error: ") and words in said and "log.csv" in said
    assert sorted(p.name for p in tmp_path.iterdir()) == ["log.csv"]


def test_a_folder_and_a_missing_file_are_said(tmp_path, capsys):
    assert cli.main(["trends", str(tmp_path)]) == 2
    assert "folder" in capsys.readouterr().err
    assert cli.main(["trends", str(tmp_path / "none.csv")]) == 2
    assert "does not exist" in capsys.readouterr().err


# ---------------------------------------------------------------- parts


@pytest.mark.parametrize(
    "name, kind",
    [
        ("AHU: Supply Air Temperature", "sat"),
        ("DAT", "sat"),
        ("AHU1.SaTempSp", "sat_setpoint"),
        ("SUPPLY AIR TEMP SETPT", "sat_setpoint"),
        ("OA-T", "oat"),
        ("OAT", "oat"),
        ("OutsideAirTemp", "oat"),
        ("ambient temperature", "oat"),
        ("MA_Temp", "mat"),
        ("RaTmp", "rat"),
        ("DSP", "dsp"),
        ("Duct Static Pres SP", "dsp_setpoint"),
        ("SF-VFD-SPD", "supply_fan_speed"),
        ("supplyfanspeed", "supply_fan_speed"),
        ("RF Speed Cmd", "return_fan_speed"),
        ("SF kW", "supply_fan_power"),
        ("SF STS", "supply_fan_status"),
        ("Supply CFM", "supply_flow"),
        ("OA Dmpr Cmd", "oa_damper"),
        ("Economizer Damper Position", "oa_damper"),
        ("CHW Valve", "cooling_valve"),
        ("Preheat Valve Output", "heating_valve"),
        ("HHW VLV", "heating_valve"),
        ("Occ Mode", "mode"),
        ("VAV-12 Zone Temp", "zone_temp"),
        ("VAV-3.DMPR-POS", "zone_damper"),
        ("VAV_2-07 AirFlow", "zone_flow"),
        ("VAV-3 Flow Setpoint", "zone_flow_setpoint"),
        ("VAV-3 Reheat Valve", "zone_reheat"),
        ("Room 210 Clg Stpt", "zone_cooling_setpoint"),
        ("SF Cmd", "supply_fan_status"),
        ("DA-TSTPT", "sat_setpoint"),
        ("Economizer Position", "oa_damper"),
        ("VAV-3 Reheat", "zone_reheat"),
        # A last letter is short for a quantity; elsewhere it may be a wing.
        ("AHU7.DA-P", "dsp"),
        ("AHU7.DAP-SP", "dsp_setpoint"),
        ("AHU7.SF-S", "supply_fan_status"),
        ("AHU7.CLG-O", "cooling_valve"),
        ("Bldg S AHU-2 OA Damper", "oa_damper"),
        ("Wing P Chilled Water Valve", "cooling_valve"),
        # Other languages.
        ("Außentemperatur", "oat"),
        ("Zulufttemperatur", "sat"),
        ("Sollwert Zulufttemperatur", "sat_setpoint"),
        ("Kanaldruck Sollwert", "dsp_setpoint"),
        ("Mischlufttemperatur", "mat"),
        ("Drehzahl Zuluftventilator", "supply_fan_speed"),
        ("Kühlventil", "cooling_valve"),
        ("Température soufflage", "sat"),
        ("Consigne température soufflage", "sat_setpoint"),
        ("Température extérieure", "oat"),
        ("Débit soufflage", "supply_flow"),
        ("Vanne eau froide", "cooling_valve"),
        ("Temperatura impulsión", "sat"),
        ("Presión conducto", "dsp"),
        ("Temperatura esterna", "oat"),
        ("Buitentemperatuur", "oat"),
        ("CHW Supply Temp", ""),
        ("Building Static Pressure", ""),
        ("Supply Fan kWh", ""),
        ("Fault Detection Ground Truth", ""),
        ("Min OA Flow Setpoint", ""),
        ("Filter DP", ""),
    ],
)
def test_names_lead_to_kinds(name, kind):
    read_as = read_name(name)
    best = max(kinds().values(), key=lambda k: score(k, read_as))
    assert (best.name if score(best, read_as) > 0.0 else "") == kind


@pytest.mark.parametrize(
    "text, on_zone, kind",
    [
        ("brick:Discharge_Air_Temperature_Sensor", False, "sat"),
        ("https://brickschema.org/schema/Brick#Outside_Air_Temperature_Sensor", False, "oat"),
        ("Discharge_Air_Flow_Sensor", True, "zone_flow"),
        ("discharge-air-temp-sp", False, "sat_setpoint"),
        ("zone air temp sensor point", True, "zone_temp"),
        ("outside, damper, cmd, point", False, "oa_damper"),
        ("anything else", False, None),
    ],
)
def test_classes_and_tags(text, on_zone, kind):
    found = kind_of_class(text, on_zone)
    assert (found and found.name) == kind


@pytest.mark.parametrize(
    "text, decimal, value",
    [
        ("1,234.5", ".", 1234.5),
        ("1.234,5", ",", 1234.5),
        ("12,5", ".", 12.5),
        ("1 234,5", ",", 1234.5),
        ("-0.49", ".", -0.49),
        ("1e3", ".", 1000.0),
        ("12,34,5", ".", None),
        ("x", ".", None),
    ],
)
@pytest.mark.invariant
def test_numbers_of_texts(text, decimal, value):
    assert plain_number(text, decimal) == value


@pytest.mark.invariant
def test_cells_with_words_and_marks():
    import pandas as pd

    words = Words()
    got = numbers(
        pd.Series(["72.5 °F", "On", "OFF", "No Data", "1: Occupied", "72 {fault}", "2025-01-01", "odd", None]),
        ".",
        words,
    )
    assert np.array_equal(got, [72.5, 1.0, 0.0, np.nan, 1.0, np.nan, np.nan, np.nan, np.nan], equal_nan=True)
    assert words.missing == 3 and words.other["odd"] == 1


@pytest.mark.parametrize(
    "unit, value, wanted",
    [
        ("degC", 100.0, 212.0),
        ("Pa", 249.082, 1.0),
        ("L/s", 1000.0, 2118.88),
        ("m3/h", 3600.0, 2118.88),
        ("%", 50.0, 0.5),
        ("hp", 1.0, 0.7457),
        ("kPa", 0.249082, 1.0),
    ],
)
@pytest.mark.published
def test_units(unit, value, wanted):
    """NIST SP 811 appendix B: inch of water (conventional) 249.082 Pa at 39.2 degF; cubic foot a minute 0.4719474
    L/s; horsepower 745.6999 W."""
    # Half a unit of the last printed digit.
    assert converted(np.array([value]), unit)[0] == pytest.approx(wanted, rel=3e-5)


@pytest.mark.parametrize(
    "text, unit",
    [
        ("SAT [°F]", "degF"),
        ("Supply Airflow (cfm)", "cfm"),
        ("DSP (in. w.c.)", "in. w.c."),
        ("Speed_%", ""),
        ("T °C", "degC"),
        ("Duct Pressure, Pa", "Pa"),
        ("OAT", ""),
    ],
)
def test_units_in_names(text, unit):
    assert unit_in_name(text) == unit or (unit == "" and unit_named("%") == "%")


@pytest.mark.invariant
@pytest.mark.parametrize("order", ["month first", "day first"])
def test_order_of_dates_that_could_be_either(order):
    """Days up to the twelfth: that days follow one another decides."""
    pattern = "%m/%d/%Y %H:%M" if order == "month first" else "%d/%m/%Y %H:%M"
    stamps = [(datetime.datetime(2025, 3, 2) + k * datetime.timedelta(hours=6)).strftime(pattern) for k in range(30)]
    form = times.text_form(stamps, european=False)
    assert form.order == order and not form.guessed
    assert times.text_form(stamps[:2], european=False).guessed


@pytest.mark.invariant
def test_clock_changes_are_seen(tmp_path):
    lines = ["Time,Supply Air Temp,Outside Air Temp"]
    autumn = datetime.datetime(2025, 11, 2, 0, 0)
    for k in range(25 * 4):
        hour = autumn + k * STEP - (datetime.timedelta(hours=1) if k >= 8 else datetime.timedelta(0))
        lines.append(f"{hour:%Y-%m-%d %H:%M},55,{40 + k / 10}")
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines))
    log = read(path)
    assert log.set_back == 1 and log.backwards == 0 and len(look(path)) == 1
