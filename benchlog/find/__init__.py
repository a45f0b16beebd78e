"""From a failed check to the faulty place: what to measure next, then the place and how to mend it."""
