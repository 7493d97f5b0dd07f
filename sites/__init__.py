"""Where: place, plot, sun, sky and weather. Knows nothing of panels."""
