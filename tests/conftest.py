"""Tests repeat exactly: hypothesis draws the same examples in every run. Made years are worked out once."""

import pickle
from collections.abc import Iterator

import pytest
from hypothesis import settings

import sites.weather_files
from sites.weather import WeatherYear

settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")


@pytest.fixture(scope="session", autouse=True)
def _made_years_are_kept() -> Iterator[None]:
    """A made year hangs on climate, place and seed alone, so one serves all tests; its numbers cannot be changed."""
    made, kept = sites.weather_files.made_year, {}

    def known(*args: object) -> WeatherYear:
        key = pickle.dumps(args)
        if key not in kept:
            kept[key] = made(*args)  # type: ignore[arg-type]
            for values in vars(kept[key]).values():
                if hasattr(values, "setflags"):
                    values.setflags(write=False)
        return kept[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sites.weather_files, "made_year", known)
        yield
