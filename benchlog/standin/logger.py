"""What a logger makes of true values: gain, offset, noise, resolution and range of each channel."""

from dataclasses import dataclass, replace

import numpy as np

from benchlog.core.roles import ROLE_UNITS, UNITS
from benchlog.core.trace import Array


@dataclass(frozen=True, slots=True)
class ChannelSpec:
    """One channel. All but the per cent are in ``unit``.

    Attributes:
        gain_error_pct, offset_error: half-widths; one logger's own errors lie evenly within them.
        noise: rms.
        full_scale: a value beyond it, either side, is over range; None: no end.
        positive: which current this logger calls positive; only the written file turns the sign.
        reversed: the shunt is wired the wrong way round, and the logger file does not say so.
        bypassed: the current does not pass this shunt.
        stated: whether the logger file states the accuracy.
    """

    role: str
    unit: str
    gain_error_pct: float = 0.0
    offset_error: float = 0.0
    resolution: float = 0.0
    noise: float = 0.0
    full_scale: float | None = None
    positive: str = "discharge"
    reversed: bool = False
    bypassed: bool = False
    stated: bool = True

    @property
    def factor(self) -> float:
        """Canonical unit in one ``unit``."""
        return UNITS[self.unit][1]


@dataclass(frozen=True, slots=True)
class LoggerSpec:
    """A logger: rate and channels.

    Attributes:
        random_phase: the first sample falls anywhere within one period against the script.
    """

    rate_hz: float
    channels: tuple[ChannelSpec, ...]
    name: str = "stand-in logger"
    random_phase: bool = True

    @property
    def roles(self) -> tuple[str, ...]:
        """The roles it has a channel for, in order."""
        return tuple(channel.role for channel in self.channels)

    def changed(self, role: str, **changes: object) -> "LoggerSpec":
        """The same, one channel's fields changed."""
        channels = (replace(one, **changes) if one.role == role else one for one in self.channels)  # type: ignore[arg-type]  # the caller names fields of ChannelSpec
        return replace(self, channels=tuple(channels))

    def only(self, *roles: str) -> "LoggerSpec":
        """The same, with these roles alone."""
        return replace(self, channels=tuple(one for one in self.channels if one.role in roles))


def channel(role: str) -> ChannelSpec:
    """A good channel for this role: the accuracy of a calibrated two-range shunt logger, invented."""
    if role == "battery_a":
        return ChannelSpec(role, "A", 0.2, 0.03, 0.01, 0.015, 150.0)
    if role == "drain_a":
        return ChannelSpec(role, "mA", 0.3, 0.02, 0.005, 0.02, 500.0)
    if role == "battery_c":
        return ChannelSpec(role, "degC", 0.0, 1.0, 0.1, 0.05)
    if ROLE_UNITS[role] == "A":
        return ChannelSpec(role, "A", 0.3, 0.01, 0.002, 0.005, 40.0)
    if role == "ground_v":
        return ChannelSpec(role, "V", 0.1, 0.001, 0.0005, 0.0008, 30.0)
    return ChannelSpec(role, "V", 0.05, 0.004, 0.001, 0.002, 30.0)


FAST_ROLES = ("battery_v", "battery_a", "drain_a", "trigger_v", "feed_v", "ground_v", "feed_a")
SLOW_ROLES = ("battery_v", "drain_a", "trigger_v", "feed_v")


def fast_logger(rate_hz: float = 1000.0, roles: tuple[str, ...] = FAST_ROLES) -> LoggerSpec:
    """A logger that proves relay times."""
    return LoggerSpec(rate_hz, tuple(channel(role) for role in roles), "fast stand-in logger")


def slow_logger(rate_hz: float = 10.0, roles: tuple[str, ...] = SLOW_ROLES) -> LoggerSpec:
    """A logger for long spans."""
    return LoggerSpec(rate_hz, tuple(channel(role) for role in roles), "slow stand-in logger")


LIVE_ROLES = ("battery_v", "battery_a", "drain_a", "trigger_v", "feed_v", "ground_v")


def live_logger(rate_hz: float = 500.0) -> LoggerSpec:
    """The logger of the live stand-in: the channels that every check needs, all in plain units.

    So its lines read rightly without a logger file as well, though then no accuracy is stated.
    """
    low_range = ChannelSpec("drain_a", "A", 0.3, 2e-5, 5e-6, 2e-5, 0.5)
    channels = tuple(low_range if role == "drain_a" else channel(role) for role in LIVE_ROLES)
    return LoggerSpec(rate_hz, channels, "live stand-in logger")


@dataclass(frozen=True, slots=True)
class DrawnErrors:
    """One logger's own errors: ``gain`` as a factor, ``offset`` in the channel's unit."""

    gain: float
    offset: float


def draw(spec: ChannelSpec, rng: np.random.Generator) -> DrawnErrors:
    """One logger's own errors of one channel, evenly within the half-widths."""
    gain = 1.0 + float(rng.uniform(-1.0, 1.0)) * spec.gain_error_pct / 100.0
    return DrawnErrors(gain, float(rng.uniform(-1.0, 1.0)) * spec.offset_error)


def read(spec: ChannelSpec, drawn: DrawnErrors, true: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """What the channel reads, canonical unit, NaN where over range; and where it is over range (1)."""
    value = np.zeros_like(true) if spec.bypassed else true / spec.factor
    if spec.reversed:
        value = -value
    value = value * drawn.gain + drawn.offset
    if spec.noise:
        value += rng.normal(0.0, spec.noise, len(value))
    if spec.resolution:
        value = np.round(value / spec.resolution) * spec.resolution
    over = np.zeros(len(value))
    if spec.full_scale is not None:
        over = (np.abs(value) > spec.full_scale).astype(np.float64)
        value[over > 0] = np.nan
    return value * spec.factor, over


def to_logger_toml(
    spec: LoggerSpec,
    columns: dict[str, str] | None = None,
    time: tuple[str, str] = ("time_s", "s"),
    wraps_at: int | None = None,
) -> str:
    """The logger file for logs of this logger.

    Args:
        spec: the logger.
        columns: role -> header in the file, where it is not the role's name.
        time: header and unit of the time column.
        wraps_at: where the time counter wraps, in its unit.
    """
    lines = ["[logger]", f'name = "{spec.name}"', f"rate_hz = {spec.rate_hz:g}", "", "[time]"]
    lines += [f'column = "{time[0]}"', f'unit = "{time[1]}"']
    if wraps_at is not None:
        lines.append(f"wraps_at = {wraps_at}")
    for one in spec.channels:
        lines += [
            "",
            "[[channel]]",
            f'column = "{(columns or {}).get(one.role, one.role)}"',
            f'role = "{one.role}"',
            f'unit = "{one.unit}"',
        ]
        if one.role in ("battery_a", "drain_a"):
            lines.append(f'positive = "{one.positive}"')
        if one.stated:
            lines += [
                f"gain_error_pct = {one.gain_error_pct:g}",
                f"offset_error = {one.offset_error:g}",
                f"resolution = {one.resolution:g}",
            ]
        if one.full_scale is not None:
            lines.append('over_range = ["OL"]')
    return "\n".join(lines) + "\n"
