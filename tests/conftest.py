"""Tests repeat exactly: hypothesis draws the same examples in every run."""

from hypothesis import settings

settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")
