"""Rectangles as arrays, and rays through them."""
