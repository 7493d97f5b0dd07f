"""Finding the best layout of a plot: shapes by search, positions by a solver with proof."""
