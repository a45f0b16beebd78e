"""Finding a logger on a port by its lines: which it is, how fast it is, and what it could prove."""
