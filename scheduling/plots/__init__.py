"""Plots as SVG, each with its numbers as a table; a sign or a word says whatever a colour says."""
