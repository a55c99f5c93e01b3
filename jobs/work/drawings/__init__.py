"""Drawings (SVG) of cars, from codes and figures."""
