"""The year's method of working out power from uneven light: every cell is followed."""

from layout.power.uneven import cells_dc_power

METHOD = "every cell's curve, forward and reverse"
"""In a few words."""

dc_power = cells_dc_power
