"""Days and months as a reader says them."""

from datetime import date


def month(day: date) -> str:
    """Such as ``March 2027``."""
    return f"{day:%B} {day.year}"


def day_words(day: date) -> str:
    """Such as ``12 September 2026``."""
    return f"{day.day} {day:%B} {day.year}"


def between_words(first: date, last: date) -> str:
    """Such as ``between 12 and 20 September 2026``; ``on 12 September 2026`` where they are one."""
    if first == last:
        return f"on {day_words(first)}"
    if (first.year, first.month) == (last.year, last.month):
        return f"between {first.day} and {day_words(last)}"
    if first.year == last.year:
        return f"between {first.day} {first:%B} and {day_words(last)}"
    return f"between {day_words(first)} and {day_words(last)}"
