"""The one light engine: how much of each part of the sky reaches each cell."""
