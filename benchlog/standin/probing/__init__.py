"""Faults at places of the install, and what a meter shows on it: written apart from the search for a place."""
