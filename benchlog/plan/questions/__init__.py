"""The questions of a plan: one list, which the terminal asks one by one and the page shows as a form."""
