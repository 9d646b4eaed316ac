"""Least and most cycles of each instruction over the paths that can happen."""
