"""Weather files: what is read, what is filled, and the line for every way to be wrong."""

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sites.climate import made_year
from sites.errors import InputError
from sites.plain_csv import standard_offset_h
from sites.site import Climate, Location, Site, WeatherSource
from sites.skyline import OPEN_SKYLINE
from sites.weather_files import load_weather, read_tmy3
from sites.weather_year import distance_km

DATA = Path(pvlib.__file__).parent / "data"
TMY3 = DATA / "703165TY.csv"
PLACE = Location("test", 38.5, 21.4, 240.0, "Etc/GMT-2")
CLIMATE = Climate(
    np.array([2.1, 2.9, 4.2, 5.4, 6.6, 7.4, 7.5, 6.7, 5.2, 3.6, 2.4, 1.8]),
    np.full(12, 15.0),
    np.full(12, 3.0),
)
YEAR = made_year(CLIMATE, PLACE, 3)
LIGHT = ("ghi", "dni", "dhi")


def site(path, label=None, location=PLACE):
    return Site(location, None, OPEN_SKYLINE, None, WeatherSource(path, label, None))


def plain_frame(year=YEAR, label=0.5, zone=2.0, suffix=""):
    """The invented year as the rows of a CSV file; stamps mark this part of the interval."""
    stamp = year.start.tz_localize(None) + pd.Timedelta(hours=zone + label * year.interval_h)
    return pd.DataFrame(
        {
            "time": stamp.strftime("%Y-%m-%dT%H:%M") + suffix,
            "ghi": year.ghi.round(3),
            "dni": year.dni.round(3),
            "dhi": year.dhi.round(3),
            "air_c": year.air_c.round(3),
            "wind_m_s": year.wind_m_s.round(3),
        }
    )


def written(folder, frame, name="year.csv"):
    path = folder / name
    path.write_text(frame if isinstance(frame, str) else frame.to_csv(index=False), encoding="utf-8")
    return path


def fault_lines(path, label="middle", location=PLACE):
    with pytest.raises(InputError) as caught:
        load_weather(site(path, label, location))
    lines = [fault.line() for fault in caught.value.faults]
    assert all("\n" not in line for line in lines)
    assert all(line.startswith(path.name + ": ") for line in lines)
    return lines


# --- TMY3 ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("file", ["723170TYA.CSV", "703165TY.csv"])
def test_tmy3_values_and_times_are_those_of_another_reader(file):
    year, place = read_tmy3(DATA / file)
    other, head = pvlib.iotools.read_tmy3(DATA / file, coerce_year=2002)
    assert (place.latitude_deg, place.longitude_deg) == (head["latitude"], head["longitude"])
    assert place.elevation_m == head["altitude"]
    ends = year.start + pd.Timedelta(hours=1)
    np.testing.assert_array_equal(ends.as_unit("s").asi8, other.index.tz_convert("UTC").as_unit("s").asi8)
    for ours, theirs in zip((*LIGHT, "air_c", "wind_m_s"), (*LIGHT, "temp_air", "wind_speed"), strict=True):
        np.testing.assert_allclose(getattr(year, ours), other[theirs].to_numpy(float))
    assert len(year.start) == 8760


def test_tmy3_albedo_column():
    zero, _ = read_tmy3(DATA / "723170TYA.CSV")
    assert zero.albedo is None
    assert any("albedo column is all zero" in note for note in zero.notes)
    given, _ = read_tmy3(TMY3)
    assert given.albedo is not None
    assert given.albedo.mean() == pytest.approx(0.1607, abs=1e-3)


def test_tmy3_notes_tell_the_years_and_the_closure():
    year, _ = read_tmy3(TMY3)
    assert any("1991 to 2005" in note for note in year.notes)
    assert any("0 of 3,4" in note for note in year.notes)
    assert "SAND POINT" in year.source


def test_distant_station_is_noted_and_a_near_one_is_not():
    _, place = read_tmy3(TMY3)
    near = load_weather(site(TMY3, location=replace(place, latitude_deg=place.latitude_deg + 0.2)))
    far = load_weather(site(TMY3, location=replace(place, latitude_deg=place.latitude_deg + 2.0)))
    assert not any("km from the site" in note for note in near.notes)
    assert any("222 km from the site" in note for note in far.notes)


def test_distance():
    """A quarter of the way round a sphere of 6,371 km is 10,008 km."""
    pole = replace(PLACE, latitude_deg=90.0)
    equator = replace(PLACE, latitude_deg=0.0)
    assert distance_km(pole, equator) == pytest.approx(10007.5, abs=1.0)
    assert distance_km(PLACE, PLACE) == 0.0


def tmy3_lines():
    return TMY3.read_text().splitlines()


def tmy3_with(folder, line, old, new):
    """The station file with one text replaced in one line, counted from 1."""
    lines = tmy3_lines()
    assert old in lines[line - 1]
    lines[line - 1] = lines[line - 1].replace(old, new, 1)
    return written(folder, "\n".join(lines) + "\n", "station.csv")


@pytest.mark.parametrize(
    ("line", "old", "new", "expected"),
    [
        (1, "55.317", "155.3", "line 1: found '155.3'; accepted: the station's latitude, -90 to 90"),
        (1, "-9.0", "west", "line 1: found 'west'; accepted: the station's time zone"),
        (1, ",7", "", "line 1: found 6 cells"),
        (2, "DNI (W/m^2)", "DNI (W/m2)", "no column 'DNI (W/m^2)' (but 'DNI (W/m2)')"),
        (500, "01/21/1997", "21.01.1997", "line 500, column Date (MM/DD/YYYY): found '21.01.1997 18:00'"),
        (500, "01/21/1997", "02/31/1997", "line 500, column Date (MM/DD/YYYY): found '02/31/1997 18:00'"),
        (
            500,
            ",18:00,",
            ",18:30,",
            "line 500, column Date (MM/DD/YYYY): found 1997-01-21 18:30, off the step",
        ),
        (500, ",18:00,", ",18:61,", "line 500, column Date (MM/DD/YYYY): found '01/21/1997 18:61'"),
        (500, ",18:00,", ",six,", "line 500, column Date (MM/DD/YYYY)"),
        (500, ",18:00,", ",17:00,", "1997-01-21 17:00, which line 499 has too; accepted: each time once"),
        (500, "01/21/1997", "01/21/1998", "a second year inside one month"),
    ],
)
def test_tmy3_faults(tmp_path, line, old, new, expected):
    _, place = read_tmy3(TMY3)
    lines = fault_lines(tmy3_with(tmp_path, line, old, new), None, place)
    assert expected in lines[0]


def test_tmy3_cut_short(tmp_path):
    path = written(tmp_path, "\n".join(tmy3_lines()[:3000]) + "\n", "station.csv")
    _, place = read_tmy3(TMY3)
    assert "5762 h without values, the first from" in fault_lines(path, None, place)[0]


def test_tmy3_missing_marks_are_filled_or_refused(tmp_path):
    _, place = read_tmy3(TMY3)
    lines = tmy3_lines()
    header = lines[1].split(",")
    column = header.index("Dry-bulb (C)")

    def blank(count):
        changed = list(lines)
        for i in range(1000, 1000 + count):
            cells = changed[i].split(",")
            cells[column] = "-9900"
            changed[i] = ",".join(cells)
        return written(tmp_path, "\n".join(changed) + "\n", "station.csv")

    year = load_weather(site(blank(4), location=place))
    whole = load_weather(site(TMY3, location=place))
    assert any("4 h without values" in note and "interpolation" in note for note in year.notes)
    assert np.abs(year.air_c - whole.air_c).max() < 3.0
    np.testing.assert_allclose(year.ghi, whole.ghi, atol=1e-9)
    assert "at most 9 h on end" in fault_lines(blank(9), None, place)[0]


# --- EPW ----------------------------------------------------------------------------------------------------


def epw_text(year=YEAR, place=PLACE, zone=2.0, minute=0, albedo=0.17):
    spot = f"{place.latitude_deg},{place.longitude_deg},{zone},{place.elevation_m}"
    head = [
        f"LOCATION,Invented,-,XXX,none,000000,{spot}",
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,none",
        "COMMENTS 2,none",
        "DATA PERIODS,1,1,Data,Sunday,1/1,12/31",
    ]
    local = year.start.tz_localize(None) + pd.Timedelta(hours=zone)
    cells = pd.DataFrame({k: np.zeros(len(local)) for k in range(35)}).astype(object)
    cells[0], cells[1], cells[2] = local.year.to_numpy(), local.month.to_numpy(), local.day.to_numpy()
    cells[3], cells[4], cells[5] = local.hour.to_numpy() + 1, minute, "?9"
    for k, name in {6: "air_c", 13: "ghi", 14: "dni", 15: "dhi", 21: "wind_m_s"}.items():
        cells[k] = getattr(year, name).round(3)
    cells[32] = albedo
    return "\n".join(head) + "\n" + cells.to_csv(index=False, header=False)


@pytest.mark.parametrize("minute", [0, 60])
def test_epw_is_read_as_written(tmp_path, minute):
    year = load_weather(site(written(tmp_path, epw_text(minute=minute), "place.epw")))
    for name in (*LIGHT, "air_c", "wind_m_s"):
        np.testing.assert_allclose(getattr(year, name), getattr(YEAR, name), atol=6e-4)
    assert (year.start == YEAR.start).all()
    np.testing.assert_allclose(year.albedo, 0.17)
    assert "Invented" in year.source


def test_epw_values_are_those_of_another_reader(tmp_path):
    text = epw_text()
    year = load_weather(site(written(tmp_path, text, "place.epw")))
    other, head = pvlib.iotools.read_epw(io.StringIO(text))
    assert head["latitude"] == PLACE.latitude_deg
    for ours, theirs in zip((*LIGHT, "air_c", "wind_m_s"), (*LIGHT, "temp_air", "wind_speed"), strict=True):
        np.testing.assert_allclose(getattr(year, ours), other[theirs].to_numpy(float), atol=1e-9)


def test_epw_missing_marks(tmp_path):
    lines = epw_text().splitlines()
    cells = lines[2000].split(",")
    cells[13], cells[6], cells[32] = "9999", "99.9", "999"
    lines[2000] = ",".join(cells)
    year = load_weather(site(written(tmp_path, "\n".join(lines) + "\n", "place.epw")))
    assert any("1 h without values" in note for note in year.notes)
    np.testing.assert_allclose(year.albedo, 0.17)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("38.5,21.4,2.0,240.0", "38.5,21.4,2.0", "line 1: found 9 cells"),
        ("38.5,21.4,2.0", "38.5,east,2.0", "line 1: found 'east'; accepted: the station's longitude"),
        ("2002,3,1,1,0", "2002,3,1,1,30", "column 5: found minutes that change"),
        ("2002,3,1,1,0", "2002,3,1,0,0", "each time once"),
        ("2002,3,1,1,0", "2002,3,1,25,0", "line 1425, column 1 to 4: found '2002-3-1 hour 25'"),
        ("2002,3,1,1,0", "2002,3,1,one,0", "line 1425, column 4: found 'one'; accepted: a number"),
    ],
)
def test_epw_faults(tmp_path, old, new, expected):
    path = written(tmp_path, epw_text().replace(old, new, 1), "place.epw")
    assert expected in fault_lines(path, None)[0]


def test_epw_of_too_few_columns(tmp_path):
    text = "\n".join(line if i < 8 else line[:40] for i, line in enumerate(epw_text().splitlines()))
    assert "22 or more" in fault_lines(written(tmp_path, text, "place.epw"), None)[0]


# --- plain CSV ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("label", "part"), [("start", 0.0), ("middle", 0.5), ("end", 1.0)])
@pytest.mark.parametrize(("zone", "suffix"), [(2.0, ""), (2.0, "+02:00"), (0.0, "Z"), (-3.5, "-0330")])
def test_plain_csv_is_read_as_written(tmp_path, label, part, zone, suffix):
    path = written(tmp_path, plain_frame(label=part, zone=zone, suffix=suffix))
    year = load_weather(site(path, label))
    assert (year.start == YEAR.start).all()
    for name in (*LIGHT, "air_c", "wind_m_s"):
        np.testing.assert_allclose(getattr(year, name), getattr(YEAR, name), atol=6e-4)
    assert year.albedo is None
    assert year.interval_h == 1.0


def test_plain_csv_with_albedo_capitals_more_columns_and_byte_order_mark(tmp_path):
    frame = plain_frame().assign(albedo=0.23, humidity=50).rename(columns={"ghi": "GHI", "dni": " DNI"})
    path = tmp_path / "year.csv"
    path.write_text(frame.to_csv(index=False), encoding="utf-8-sig")
    year = load_weather(site(path, "middle"))
    np.testing.assert_allclose(year.albedo, 0.23)
    assert any("columns that are not used: humidity" in note for note in year.notes)


def test_plain_csv_told_by_a_clock_with_summer_time(tmp_path):
    athens = replace(PLACE, time_zone="Europe/Athens")
    stamp = YEAR.start.tz_convert("Europe/Athens").tz_localize(None)
    frame = plain_frame().assign(time=stamp.strftime("%Y-%m-%dT%H:%M"))
    year = load_weather(site(written(tmp_path, frame), "start", athens))
    assert (year.start == YEAR.start).all()
    np.testing.assert_allclose(year.ghi, YEAR.ghi, atol=6e-4)
    standard = written(tmp_path, plain_frame(label=0.0), "standard.csv")
    assert "do not fit the clock of Europe/Athens" in fault_lines(standard, "start", athens)[0]


def test_standard_offset():
    assert standard_offset_h("Europe/Athens") == 2.0
    assert standard_offset_h("Australia/Adelaide") == 9.5
    assert standard_offset_h("Etc/GMT+9") == -9.0


def test_quarter_hours(tmp_path):
    quarter = {name: np.repeat(getattr(YEAR, name), 4) for name in ("air_c", "wind_m_s")}
    start = pd.date_range(YEAR.start[0], periods=8760 * 4, freq="15min")
    hours = pvlib.solarposition.get_solarposition(start + pd.Timedelta(minutes=7.5), 38.5, 21.4, 240.0)
    height = np.maximum(np.sin(np.radians(hours["apparent_elevation"].to_numpy())), 0.0)
    dni, dhi = np.where(height > 0, 600.0, 0.0), 120.0 * height
    fine = replace(YEAR, start=start, interval_h=0.25, ghi=dni * height + dhi, dni=dni, dhi=dhi, **quarter)
    year = load_weather(site(written(tmp_path, plain_frame(fine, label=1.0)), "end"))
    assert year.interval_h == 0.25
    assert len(year.start) == 35040
    assert (year.start == start).all()


def test_months_of_several_years_become_one(tmp_path):
    frame = plain_frame(zone=0.0, label=0.0, suffix="Z")
    month = pd.to_datetime(frame["time"]).dt.month
    several = frame.assign(time=(2004 + 3 * month % 14).astype(str) + frame["time"].str[4:])
    year = load_weather(site(written(tmp_path, several), "start"))
    assert any("told as 2002" in note for note in year.notes)
    # The file's last two hours of local time stand first in UTC and come back to the year's end.
    moved = pd.Series(YEAR.ghi, index=YEAR.start).rename(lambda t: t.replace(year=2002)).sort_index()
    read = pd.Series(year.ghi, index=year.start).rename(lambda t: t.replace(year=2002)).sort_index()
    np.testing.assert_allclose(read, moved, atol=6e-4)


def test_leap_year_keeps_its_day(tmp_path):
    climate_year = made_year(CLIMATE, PLACE, 3)
    start = pd.date_range("2023-12-31T22:00Z", periods=8784, freq="h")
    wrapped = {n: np.resize(getattr(climate_year, n), 8784) for n in (*LIGHT, "air_c", "wind_m_s")}
    year = load_weather(site(written(tmp_path, plain_frame(replace(YEAR, start=start, **wrapped))), "middle"))
    assert len(year.start) == 8784


def test_few_missing_rows_are_filled(tmp_path):
    """Five hours of a morning and three of a night."""
    frame = plain_frame()
    gap = [*range(4000, 4005), *range(5000, 5003)]
    year = load_weather(site(written(tmp_path, frame.drop(index=gap)), "middle"))
    note = next(note for note in year.notes if "without values" in note)
    assert "8 h without values, the first from 2002-06-16 16:00" in note
    assert "at most 5 h on end" in note
    keep = np.setdiff1d(np.arange(8760), gap)
    np.testing.assert_allclose(year.ghi[keep], YEAR.ghi[keep], atol=6e-4)
    assert np.isfinite(year.ghi).all()
    filled = {name: getattr(year, name)[gap] for name in LIGHT}
    assert all((values >= 0.0).all() for values in filled.values())
    assert any("0 of" in note for note in year.notes)  # what was filled closes like the rest


def test_empty_cells_count_as_missing(tmp_path):
    frame = plain_frame().astype({"wind_m_s": object})
    frame.loc[100:103, "wind_m_s"] = ""
    year = load_weather(site(written(tmp_path, frame), "middle"))
    assert any("4 h without values" in note for note in year.notes)
    assert (year.wind_m_s[100:104] > 0.0).all()


def test_night_offsets_of_an_instrument_are_taken_as_zero(tmp_path):
    frame = plain_frame()
    frame.loc[frame["ghi"] == 0.0, "ghi"] = -1.5
    year = load_weather(site(written(tmp_path, frame), "middle"))
    assert year.ghi.min() == 0.0
    assert any("between −4 and 0 W/m² are taken as 0" in note for note in year.notes)


def edit(row, **cells):
    def change(frame):
        frame = frame.astype(object)
        for name, value in cells.items():
            frame.loc[row, name] = value
        return frame

    return change


def drop(first, last):
    return lambda frame: frame.drop(index=range(first, last))


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (edit(10, ghi="bright"), "line 12, column ghi: found 'bright'; accepted: a number, or nothing"),
        (edit(10, ghi="inf"), "line 12, column ghi: found 'inf'"),
        (edit(10, ghi=-20), "line 12, column ghi: found -20; accepted: -4 to 2000 W/m²"),
        (edit(4000, ghi=2500), "line 4002, column ghi: found 2500; accepted: -4 to 2000 W/m²"),
        (edit(0, ghi=800), "line 2, column ghi: found 800 W/m²; accepted: up to 100 W/m²"),
        (edit(3996, dni=1400), "line 3998, column dni: found 1400 W/m²"),
        (edit(10, air_c=250), "line 12, column air_c: found 250; accepted: -90 to 60 °C"),
        (edit(10, wind_m_s=-1), "line 12, column wind_m_s: found -1; accepted: 0 to 75 m/s"),
        (edit(10, time="yesterday"), "line 12, column time: found 'yesterday'; accepted: a time in ISO 8601"),
        (
            edit(10, time="2002-01-01T10:30+02:00"),
            "line 12, column time: found '2002-01-01T10:30+02:00', unlike",
        ),
        (
            edit(10, time="2002-01-01T09:30"),
            "line 12, column time: found 2002-01-01 09:30, which line 11 has too",
        ),
        (
            edit(10, time="2002-01-01T10:37"),
            "line 12, column time: found 2002-01-01 10:37, off the step of 60",
        ),
        (edit(10, time="2001-11-03T10:30"), "times that rise"),
        (drop(3000, 3012), "rows: found 12 h without values, the first from 2002-05-06 00:00"),
        (drop(0, 4380), "4380 h without values"),
        (lambda frame: frame.iloc[::-1], "steps of 0 minutes"),
        (lambda frame: frame.iloc[::2], "steps of 120 minutes; accepted: a step of 1 to 60 minutes"),
        (lambda frame: frame.iloc[:1], "rows: found 1; accepted: a whole year of rows"),
        (lambda frame: frame.drop(columns="dni"), "line 1: found no column 'dni'"),
        (lambda frame: frame.rename(columns={"wind_m_s": "wind_ms"}), "no column 'wind_m_s' (but 'wind_ms')"),
        (lambda frame: frame.assign(albedo=1.4), "line 2, column albedo: found 1.4 and 8,759 more like it"),
        (lambda frame: frame.assign(dni=frame["dhi"], dhi=frame["dni"] / 6), "three columns of one sky"),
        (lambda frame: frame.assign(ghi=frame["ghi"] * 3.6), "W/m²"),
    ],
)
def test_plain_csv_faults(tmp_path, change, expected):
    assert any(expected in line for line in fault_lines(written(tmp_path, change(plain_frame()))))


def test_all_wrong_columns_are_told_at_once(tmp_path):
    frame = edit(10, ghi="x", dni="y", time="z")(plain_frame())
    assert len(fault_lines(written(tmp_path, frame), label=None)) == 4  # and the label is missing


def test_two_years_are_too_many(tmp_path):
    frame = plain_frame()
    second = frame.assign(time="2003" + frame["time"].str[4:])
    path = written(tmp_path, pd.concat([frame, second]))
    assert "second year inside one month" in fault_lines(path)[0]


def test_a_year_and_a_day_is_too_long(tmp_path):
    frame = plain_frame()
    more = frame.iloc[:24].assign(time="2003" + frame["time"].str[4:])
    line = fault_lines(written(tmp_path, pd.concat([frame, more])))[0]
    assert "more than a year after the first and 23 more like it; accepted: one year" in line


@pytest.mark.parametrize(("label", "hours"), [("start", "0.5 h"), ("end", "0.5 h")])
def test_wrong_label_is_found_from_the_sun(tmp_path, label, hours):
    line = fault_lines(written(tmp_path, plain_frame(label=0.5)), label)[0]
    assert hours in line
    assert "weather_label" in line


@pytest.mark.parametrize("off", [-7.0, 1.0, 5.0])
def test_wrong_zone_is_found_from_the_sun(tmp_path, off):
    line = fault_lines(written(tmp_path, plain_frame(zone=2.0 + off)))[0]
    assert f"{abs(off):g} h {'earlier' if off > 0 else 'later'} than the times say" in line


def test_southern_site_with_a_northern_year_has_light_at_night_or_too_much(tmp_path):
    lines = fault_lines(written(tmp_path, plain_frame()), location=replace(PLACE, latitude_deg=-58.5))
    assert lines


@pytest.mark.parametrize("label", [None, "beginning"])
def test_label_is_required_for_plain_csv(tmp_path, label):
    line = fault_lines(written(tmp_path, plain_frame()), label)[0]
    assert "site.weather_label" in line
    assert "start, middle or end" in line


# --- files that are none ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"", "line 1: found an empty first line; accepted: a TMY3 or EPW file, or a CSV file"),
        (b"hello\n", "line 1: found hello; accepted:"),
        (b"time;ghi;dni;dhi\n", "line 1: found time;ghi;dni;dhi; accepted:"),
        (b"\x00\x01\x02", "weather: found a file that is not text"),
        (b"time,ghi,dni,dhi,air_c,wind_m_s\n", "rows: found 0; accepted: a whole year of rows"),
        (b"time,ghi\n1,2\n1,2,3\n", "as many cells in each line as in the first"),
        (b'time,ghi,dni,dhi,air_c,wind_m_s\n"2002,1\n', "rows: found"),
    ],
)
def test_files_that_are_no_weather(tmp_path, content, expected):
    path = tmp_path / "thing.csv"
    path.write_bytes(content)
    assert expected in fault_lines(path)[0]


def test_file_that_is_not_there_and_folder(tmp_path):
    assert "No such file" in fault_lines(tmp_path / "none.csv")[0]
    folder = tmp_path / "folder"
    folder.mkdir()
    assert "directory" in fault_lines(folder)[0].lower()


def test_neither_file_nor_climate():
    with pytest.raises(InputError, match="neither a file nor a climate"):
        load_weather(site(None))


def test_made_year_of_a_site():
    source = WeatherSource(None, None, CLIMATE, 3)
    year = load_weather(replace(site(None), weather=source))
    np.testing.assert_array_equal(year.ghi, YEAR.ghi)


JUNK = [
    "",
    "-",
    "nan",
    "1e400",
    '"',
    ",",
    "\n",
    "Z",
    "-9999",
    "0x10",
    "24:00",
    "NaT",
    "2002-13-01",
    "+01:00",
    "inf",
]
TEXTS = {
    "year.csv": plain_frame().to_csv(index=False),
    "place.epw": epw_text(),
    "station.csv": TMY3.read_text(),
}


@settings(max_examples=20, deadline=None)
@given(
    name=st.sampled_from(sorted(TEXTS)),
    line=st.one_of(st.integers(0, 12), st.integers(0, 8700)),
    cell=st.integers(0, 35),
    junk=st.sampled_from(JUNK),
    label=st.sampled_from(["start", "middle", None]),
)
def test_a_broken_file_gives_lines_and_no_traceback(tmp_path_factory, name, line, cell, junk, label):
    lines = TEXTS[name].splitlines()
    cells = lines[line].split(",")
    cells[cell % len(cells)] = junk
    lines[line] = ",".join(cells)
    path = written(tmp_path_factory.mktemp("broken"), "\n".join(lines) + "\n", name)
    faults = ()
    try:
        year = load_weather(site(path, label))
    except InputError as error:
        faults = error.faults
    else:
        assert np.isfinite([year.ghi, year.dni, year.dhi, year.air_c, year.wind_m_s]).all()
    assert all(fault.line().startswith(name) for fault in faults)
