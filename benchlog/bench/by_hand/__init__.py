"""The acceptance test with a hand meter: its steps, the session at a terminal, the sheet to print."""
