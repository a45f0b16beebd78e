"""A result for people: text, page and figures."""
