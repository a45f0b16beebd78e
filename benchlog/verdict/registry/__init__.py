"""Every check once: what it is, how the plan limits it, how it is judged, and its words.

A new check is one entry in a file here and its place in ``table.CHECKS``, and a function in ``examine/`` that finds
its value.
"""
