"""The weather year of a site: from a TMY3, EPW or plain CSV file, or made from monthly means."""

from pathlib import Path

from sites.climate import made_year
from sites.epw import read_epw
from sites.errors import Fault, InputError
from sites.plain_csv import read_plain
from sites.site import Location, Site
from sites.tmy3 import TMY3_DATE, read_tmy3_text
from sites.weather import WeatherYear
from sites.weather_table import WeatherTable
from sites.weather_year import checked_year

FORMATS = "a TMY3 or EPW file, or a CSV file with the columns time, ghi, dni, dhi, air_c, wind_m_s"


def load_weather(site: Site) -> WeatherYear:
    """The weather year of a site: its file, or the year made from its climate.

    Raises InputError where there is neither, or where the file or the climate cannot be used.
    """
    source = site.weather
    if source.path is not None:
        return checked_year(read_table(source.path, site.location, source.label), site.location)
    if source.climate is None:
        raise InputError([Fault("plan", "site.weather", "neither a file nor a climate", "one of the two")])
    return made_year(source.climate, site.location, source.seed)


def read_tmy3(path: Path) -> tuple[WeatherYear, Location]:
    """A TMY3 file's year and the station it was recorded at. Raises InputError."""
    table, station = read_tmy3_text(file_text(path), path.name)
    return checked_year(table, station), station


def read_table(path: Path, location: Location, label: str | None = None) -> WeatherTable:
    """The rows of a weather file, whose kind is told from its first lines.

    location : gives the zone of plain CSV times that have no offset
    label : what the stamps of a plain CSV file mark; the other kinds fix it
    """
    text = file_text(path)
    first, _, rest = text.partition("\n")
    if first.upper().startswith("LOCATION,"):
        return read_epw(text, path.name)
    if TMY3_DATE in rest.partition("\n")[0]:
        return read_tmy3_text(text, path.name)[0]
    if "time" in _header(first):
        return read_plain(text, path.name, location, label)
    shown = " ".join(first.split())[:60] or "an empty first line"
    raise InputError([Fault(path.name, "line 1", shown, FORMATS)])


def file_text(path: Path) -> str:
    """A text file's content, UTF-8 or else Latin-1. Raises InputError where it cannot be read as text."""
    try:
        content = path.read_bytes()
    except OSError as error:
        found = error.strerror or "a file that cannot be read"
        raise InputError([Fault(path.name, "weather", found, FORMATS)]) from None
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("latin-1")  # station names in older files
    if "\0" in text:
        raise InputError([Fault(path.name, "weather", "a file that is not text", FORMATS)])
    return text.replace("\r\n", "\n")


def _header(line: str) -> list[str]:
    return [name.strip().strip('"').lower() for name in line.split(",")]
