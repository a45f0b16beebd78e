"""What an analysis hands over for one check: a measured value with its doubt, or why there is none."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Measured:
    """A value for one check, in that check's unit.

    Attributes:
        value: None only where the thing measured never happened (a relay that never opens).
        u: standard uncertainty; None where the channel's accuracy is not stated; inf where the log cannot tell.
        from_s, to_s: the stretch of the log behind it.
        story: a clause in plain words that ends in no full stop ("over 3 key-offs, 2 wake-ups seen").
        doubt: a reason why the value proves nothing whatever its figure; None if there is none.
        only_fails: a reason why the log can prove a failure, but never a pass; None if there is none.
        remedy: what log or logger would prove it.
        failed: a proven failure that needs no figure ("the contact stayed closed for 60 s").
        watched_s: how much of the log was seen behind a drain, s; None for other checks.
        base_a: a drain's level between wake-ups, A. wakeups: how many were seen.
        wake_a: what the wake-ups add to the mean, A. lone_wake_s: how far apart wake-ups may lie that the watch
            shows none of, or one only, s; None where several tell their interval.
    """

    value: float | None
    u: float | None
    from_s: float
    to_s: float
    story: str = ""
    doubt: str | None = None
    only_fails: str | None = None
    remedy: str | None = None
    failed: str | None = None
    watched_s: float | None = None
    base_a: float | None = None
    wakeups: int | None = None
    wake_a: float | None = None
    lone_wake_s: float | None = None


@dataclass(frozen=True, slots=True)
class Unseen:
    """The log lacks what the check needs.

    Attributes:
        why: a plain sentence without full stop: what is missing and what to record.
    """

    why: str


Finding = Measured | Unseen
