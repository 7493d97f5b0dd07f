"""The tables [site] and [plot], the bundled sites, and what is warned of."""

import copy
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sites.climate_limits import daily_extraterrestrial_kwh_m2
from sites.errors import Fault, InputError
from sites.read import build_site, list_sites, load_site
from sites.site import Site

SITE: dict[str, Any] = {
    "latitude_deg": 12.5,
    "longitude_deg": -15.0,
    "elevation_m": 30,
    "time_zone": "Etc/GMT+1",
    "climate": {
        "ghi_kwh_per_m2_day": [5.0] * 12,
        "air_c": [26.0] * 12,
        "wind_m_s": [3.0] * 12,
        "seed": 7,
    },
}
PLOT: dict[str, Any] = {"boundary": [[0, 0], [30, 0], [30, 20], [0, 20]]}


def site_of(site: Any, plot: Any = PLOT, folder: Path = Path()) -> Site:
    faults: list[Fault] = []
    found = build_site(site, plot, folder, "plan.toml", faults)
    if found is None:
        raise InputError(faults)
    assert not faults
    return found


def with_keys(**keys: Any) -> dict[str, Any]:
    return {**copy.deepcopy(SITE), **keys}


def test_three_bundled_sites_at_different_latitudes() -> None:
    sites = [load_site(name) for name in list_sites()]
    assert len(sites) == 3
    latitudes = [site.location.latitude_deg for site in sites]
    assert min(latitudes) < 0
    assert max(latitudes) > 55
    assert sum(site.plot is not None and site.plot.slope_deg > 0 for site in sites) == 1


@pytest.mark.parametrize("name", list_sites())
def test_bundled_site(name: str) -> None:
    site = load_site(name)
    plot = site.plot
    assert plot is not None
    assert site.warnings == ()
    assert site.location.name == name
    assert 2000.0 <= plot.area_m2 <= 5000.0
    assert plot.usable.area > 0.6 * plot.area_m2
    assert plot.boundary.area < 0.95 * plot.boundary.minimum_rotated_rectangle.area  # irregular
    assert len(plot.obstacles) >= 1
    assert len(plot.keep_outs) >= 1
    assert site.skyline.azimuth_deg.size >= 3
    assert (site.weather.path is not None) != (site.weather.climate is not None)
    text = (Path(__file__).parents[2] / "sites" / "library" / f"{name}.toml").read_text(encoding="utf-8")
    assert "invented" in text


def test_a_place_of_ones_own() -> None:
    site = site_of(with_keys(albedo=0.3, skyline=[[90, 5]]))
    assert site.location.name == "12.50° N, 15.00° W"
    assert site.albedo is not None
    assert site.albedo.tolist() == [0.3] * 12
    assert float(site.skyline.at(0.0)) == 5.0
    assert site.plot is not None
    assert site.plot.area_m2 == 600.0
    assert site.plot.slope_azimuth_deg == 180.0
    assert site.weather.path is None
    assert site.weather.climate is not None
    assert site.weather.seed == 7
    assert site.warnings == ()


def test_monthly_albedo_and_none() -> None:
    months = [i / 20 for i in range(12)]
    assert site_of(with_keys(albedo=months)).albedo.tolist() == months  # type: ignore[union-attr]
    assert site_of(SITE).albedo is None


def test_no_plot_is_no_fault_of_the_site() -> None:
    assert site_of(SITE, None).plot is None


def test_own_plot_replaces_that_of_a_bundled_site() -> None:
    bundled = load_site("ylverhem")
    assert site_of({"name": "ylverhem"}, None).plot.boundary.equals(bundled.plot.boundary)  # type: ignore[union-attr]
    site = site_of({"name": "ylverhem"})
    assert site.plot.area_m2 == 600.0  # type: ignore[union-attr]
    assert site.plot.obstacles == ()  # type: ignore[union-attr]
    assert site.location == bundled.location
    np.testing.assert_array_equal(site.skyline.elevation_deg, bundled.skyline.elevation_deg)


def test_weather_file_counts_from_the_folder(tmp_path: Path) -> None:
    (tmp_path / "year.csv").write_text("time\n", encoding="utf-8")
    table = with_keys(weather="year.csv", weather_label="middle")
    del table["climate"]
    weather = site_of(table, folder=tmp_path).weather
    assert weather.path == tmp_path / "year.csv"
    assert weather.label == "middle"


def test_weather_file_that_pvlib_ships() -> None:
    table = with_keys(weather="pvlib:723170TYA.CSV")
    del table["climate"]
    path = site_of(table).weather.path
    assert path is not None
    assert path.read_text(encoding="ascii").startswith("723170")
    table["weather"] = "pvlib:../data/none.csv"
    with pytest.raises(InputError, match=r"found 'pvlib:../data/none.csv', no such file"):
        site_of(table)


def test_geojson_boundary_and_its_distance(tmp_path: Path) -> None:
    def ring(longitude: float, latitude: float) -> str:
        corners = [[0.0, 0.0], [3e-4, 0.0], [3e-4, 3e-4], [0.0, 3e-4], [0.0, 0.0]]
        shifted = [[longitude + x, latitude + y] for x, y in corners]
        return json.dumps({"type": "Polygon", "coordinates": [shifted]})

    (tmp_path / "near.geojson").write_text(ring(-15.0, 12.5), encoding="utf-8")
    (tmp_path / "far.geojson").write_text(ring(-15.0, 13.5), encoding="utf-8")
    near = site_of(SITE, {"boundary_file": "near.geojson", "setback_m": 1}, tmp_path)
    assert near.warnings == ()
    assert near.plot.area_m2 == pytest.approx(33.39 * 32.6, rel=0.01)  # type: ignore[union-attr]
    far = site_of(SITE, {"boundary_file": "far.geojson"}, tmp_path)
    assert far.warnings == ("plot.boundary_file: the plot lies 111 km from the site's coordinates",)


@pytest.mark.parametrize(
    ("keys", "warning"),
    [
        (
            {"time_zone": "Etc/GMT-9"},
            "site.time_zone: Etc/GMT-9 is 10.0 h away from the sun's time at -15° "
            "(in names like Etc/GMT-1 the sign counts westward)",
        ),
        ({"albedo": 0.8}, "site.albedo: a yearly mean of 0.80 is that of snow all year"),
        (
            {"climate": {**SITE["climate"], "ghi_kwh_per_m2_day": [8.3, *[5.0] * 11]}},
            "site.climate.ghi_kwh_per_m2_day[0]: 8.3 is 97% of the sunlight above the air",
        ),
    ],
)
def test_what_looks_wrong_is_warned_of(keys: dict[str, Any], warning: str) -> None:
    assert site_of(with_keys(**keys)).warnings == (warning,)


def test_zones_of_the_world_are_not_warned_of() -> None:
    for zone, longitude in [
        ("Asia/Shanghai", 75.9),
        ("Pacific/Auckland", 174.8),
        ("Pacific/Kiritimati", -157.4),
    ]:
        assert site_of(with_keys(time_zone=zone, longitude_deg=longitude)).warnings == ()


def test_sunlight_above_the_air_against_a_printed_table() -> None:
    # Duffie & Beckman, Solar Engineering of Thermal Processes (4th ed. 2013), table of example 2.19.1:
    # latitude 43°, MJ/m² a day on the twelve mean days, solar constant 1367 W/m².
    printed = [13.37, 18.81, 26.03, 33.78, 39.42, 41.78, 40.56, 35.92, 28.80, 20.90, 14.62, 11.91]
    ours = daily_extraterrestrial_kwh_m2(43.0) * 3.6 * 1367.0 / 1361.0
    np.testing.assert_allclose(ours, printed, atol=0.02)


def test_no_sunlight_in_polar_night_and_most_in_polar_day() -> None:
    year = daily_extraterrestrial_kwh_m2(90.0)
    assert year[[0, 1, 10, 11]].max() == pytest.approx(0.0, abs=0.02)
    # At the pole the sun keeps its height all day: 24 h · S · sin δ; δ on 11 June is 23.1° (table 1.6.1).
    expected = 24 * 1.361 * (1 + 0.033 * np.cos(np.radians(360 * 162 / 365))) * np.sin(np.radians(23.09))
    assert year[5] == pytest.approx(expected, rel=1e-3)


def test_hemispheres_mirror_each_other() -> None:
    north, south = daily_extraterrestrial_kwh_m2(35.0), daily_extraterrestrial_kwh_m2(-35.0)
    np.testing.assert_allclose(north, np.roll(south, 6), rtol=0.08)
    assert north.argmax() == 5
    assert south.argmin() == 5


def test_unknown_site_names_the_nearest() -> None:
    with pytest.raises(InputError) as error:
        load_site("tannerfield")
    assert str(error.value) == "site: name: found no bundled site 'tannerfield'; accepted: 'tannerfold' (nearest known)"
