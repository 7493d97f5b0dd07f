"""Reflectors around panels that already stand on a roof."""
