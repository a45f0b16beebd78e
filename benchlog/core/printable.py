"""Text that came from outside: what was typed, or read from a file, must not steer a terminal."""


def printable(text: str, instead: str = " ") -> str:
    """The text, with ``instead`` in the place of every letter that cannot be shown."""
    return "".join(letter if letter.isprintable() else instead for letter in text)


def one_line(text: str) -> str:
    """The text as one line, each run of space as one, with U+FFFD for what cannot be shown."""
    return printable(" ".join(text.split()), "\N{REPLACEMENT CHARACTER}")
