"""Readings of a hand meter: their file, and what they prove about a plan."""
