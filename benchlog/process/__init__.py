"""Processes: the same work on many things at once, and an output that takes any text."""
