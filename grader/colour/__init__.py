"""Colour arithmetic: sRGB, CIELAB, colour differences, the chart and the white of a photo."""
