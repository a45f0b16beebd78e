"""A log on disk: its readers, one pass over it, and any stretch of it again at full rate."""
