"""Logger files and headers: what a column means, and how every fault is named."""

import tomllib

import jsonschema
import pydantic
import pytest
from settings_given import faults_of, loading

from benchlog.core.errors import BadLogger
from benchlog.logger.model import Channel, load_logger, logger_from_headers, logger_from_mapping, logger_schema

FULL = """
[logger]
name = "two-range shunt logger"
[time]
column = "t_us"
unit = "us"
wraps_at = 4294967296
[[channel]]
column = "I_batt"
role = "battery_a"
unit = "mA"
scale = 1.0
offset = 0.0
positive = "discharge"
gain_error_pct = 0.2
offset_error = 0.05
resolution = 0.02
over_range = ["OL", "32767"]
[[channel]]
column = 3
role = "battery_v"
"""
CHANNEL = '[[channel]]\ncolumn = "x"\nrole = "battery_v"\n'


load = loading("a.logger.toml", load_logger)


def test_full_file_is_read(load):
    """Every key arrives, and a channel's own unit is filled in."""
    logger = load(FULL)
    current, voltage = logger.channel

    assert (logger.name, logger.rate_hz, logger.notes) == ("two-range shunt logger", None, ())
    assert (logger.time.column, logger.time.unit, logger.time.wraps_at) == ("t_us", "us", 4294967296)
    assert (current.column, current.unit, current.over_range) == ("I_batt", "mA", ("OL", "32767"))
    assert (voltage.column, voltage.unit) == (3, "V")
    assert logger.channel_of("battery_v") is voltage
    assert logger.channel_of("drain_a") is None


def test_value_is_column_times_scale_plus_offset(load):
    """A reading of 500 with scale 2 and offset 10 in mA is 1.010 A."""
    (channel,) = load(CHANNEL.replace("battery_v", "battery_a") + 'unit = "mA"\nscale = 2\noffset = 10').channel
    factor, addend = channel.to_canonical()

    assert 500 * factor + addend == pytest.approx(1.010)


def test_shunt_voltage_becomes_current():
    """7.5 mV across 0.75 mohm are 10 A; the accuracy, in mV, goes the same way."""
    channel = Channel(
        column="u",
        role="battery_a",
        unit="mV",
        shunt_mohm=0.75,
        gain_error_pct=0.2,
        offset_error=0.003,
        resolution=0.0015,
    )
    factor, addend = channel.to_canonical()

    assert 7.5 * factor + addend == pytest.approx(10.0)
    assert channel.is_shunt_voltage
    assert (channel.gain_rel, channel.offset_canonical, channel.resolution_c) == pytest.approx((0.002, 0.004, 0.002))


@pytest.mark.parametrize(
    ("unit", "shunt_mohm", "reading"), [("uV", 100, 1e6), ("mV", 100, 1000), ("V", 100, 1), ("uA", None, 1e7)]
)
def test_every_spelling_of_ten_ampere_agrees(unit, shunt_mohm, reading):
    """1 V across 100 mohm is 10 A, whichever unit the column has."""
    factor, _ = Channel(column=1, role="feed_a", unit=unit, shunt_mohm=shunt_mohm).to_canonical()

    assert reading * factor == pytest.approx(10)


def test_charging_counted_positive_is_turned():
    """Out of the battery is positive: a column that counts charging positive changes its sign, offset included."""
    channel = Channel(column=1, role="battery_a", positive="charge", offset=0.5, offset_error=0.1)

    assert channel.to_canonical() == (-1.0, -0.5)
    assert channel.offset_canonical == 0.1


def test_accuracy_that_is_not_stated_is_none():
    """Nothing is assumed of a logger that states nothing."""
    channel = Channel(column=1, role="battery_v")

    assert (channel.gain_rel, channel.offset_canonical, channel.resolution_c) == (None, None, None)


@pytest.mark.parametrize(("written", "plain"), [("µA", "uA"), ("μA", "uA"), ("mA", "mA")])
def test_micro_sign_may_be_any(written, plain):
    """Both micro signs mean u."""
    assert Channel(column=1, role="drain_a", unit=written).unit == plain


def test_time_column_wins_over_the_rate(load):
    """Where both are given the time column is used, and a note says so."""
    logger = load(FULL.replace("[time]", "rate_hz = 1000\n[time]"))

    assert logger.rate_hz is None
    assert logger.time.column == "t_us"
    assert logger.notes == ('time is taken from column "t_us", so rate_hz is not used',)


def test_shunt_beside_a_current_unit_is_not_used(load):
    """A column in mA is a current already; a note says that the shunt does nothing."""
    logger = load(FULL.replace("scale", "shunt_mohm = 0.75\nscale"))

    assert logger.channel[0].to_canonical() == (0.001, 0.0)
    assert logger.notes == ("battery_a: unit mA is a current already, so shunt_mohm is not used",)


def test_rate_alone_is_enough(load):
    """A log without a time column has a rate."""
    logger = load("[logger]\nrate_hz = 250\n" + CHANNEL)

    assert (logger.rate_hz, logger.time, logger.name) == (250, None, "logger")


def test_neither_rate_nor_time_is_left_to_the_log(load):
    """The log may have a time_s column of its own."""
    logger = load(CHANNEL)

    assert (logger.rate_hz, logger.time) == (None, None)


def test_all_faults_are_named_at_once(load):
    """Each fault comes with path and line, in the order of the file."""
    faults = faults_of(
        load,
        """[logger]
rate_hz = 0
[time]
column = "t"
unit = "iso8601"
wraps_at = 5
[[channel]]
column = 0
role = "batery_a"
unit = "parsec"
[[channel]]
column = "t"
role = "time_s"
[[channel]]
column = "b"
role = "battery_a"
unit = "mV"
[[channel]]
column = "c"
role = "battery_a"
unit = "ma"
over_range = "OL"
[[channel]]
column = "v"
role = "feed_v"
shunt_mohm = 1
low_side_mohm = 1
positive = "charge"
scale = 0
""",
    )

    assert faults == [
        "logger.rate_hz: must be > 0, got 0 (line 2)",
        "time.wraps_at: a counter in s, ms or us wraps, iso8601 does not; leave it out (line 6)",
        "channel[1].column: must be a header in quotes or a column number from 1, got 0 (line 8)",
        'channel[1].role: unknown role "batery_a"; did you mean battery_a? (line 9)',
        'channel[1].unit: unknown unit "parsec"; known are uV, mV, V, uA, mA, A, degC (line 10)',
        "channel[2].column: is the time column already; name another (line 12)",
        'channel[2].role: time_s is not a channel; describe the time column in [time], as column = "time_s" (line 13)',
        "channel[3].unit: mV does not suit battery_a, which needs uA, mA, A; "
        "for a shunt voltage give shunt_mohm (line 17)",
        "channel[4].role: battery_a is already the role of channel[3]; each role once (line 20)",
        'channel[4].unit: unknown unit "ma"; did you mean mA? (line 21)',
        'channel[4].over_range: must be a list in brackets, got "OL"; write ["OL"] (line 22)',
        "channel[5].shunt_mohm: applies to currents only, and feed_v is not one; leave it out (line 26)",
        "channel[5].low_side_mohm: applies to currents only, and feed_v is not one; leave it out (line 27)",
        "channel[5].positive: applies to currents only, and feed_v is not one; leave it out (line 28)",
        "channel[5].scale: must not be 0: every value would be the same; leave it out, or give the right factor "
        "(line 29)",
    ]


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "channel: missing; add [[channel]] with column and role"),
        ("channel = []", "channel: is empty; add [[channel]] with column and role"),
        ('[channel]\ncolumn = "x"', "write [[channel]] in double brackets"),
        (CHANNEL + "gain_error = 1", "channel[1].gain_error: unknown key; did you mean gain_error_pct?"),
        (CHANNEL + "over_range = [32767]", "channel[1].over_range[1]: must be text in quotes, got 32767"),
        (CHANNEL.replace("battery_v", "speed"), 'channel[1].role: unknown role "speed"; known are battery_v'),
        (CHANNEL.replace("battery_v", "mark") + 'unit = "V"', "channel[1].unit: mark is text and has no unit, got V"),
        (CHANNEL + 'unit = "text"', 'channel[1].unit: unknown unit "text"; known are uV'),
        ("[time]\nunit = 's'\n" + CHANNEL, 'time.column: missing; for example column = "t_us"'),
        ("[time]\ncolumn = true\n" + CHANNEL, "time.column: must be a header in quotes or a column number from 1"),
        ("[time]\ncolumn = []\n" + CHANNEL, "time.column: must be a header in quotes or a column number from 1, got a"),
        ("x = = 1", "line 1, column 5: is not valid TOML"),
    ],
)
def test_fault_says_what_was_needed(load, text, fault):
    """One fault, in plain words, with its path."""
    (named,) = faults_of(load, text)

    assert fault in named


def test_missing_file_is_named(tmp_path):
    """The path is part of the message."""
    with pytest.raises(BadLogger, match=r"no\.toml: the logger file cannot be used\n  no such file"):
        load_logger(tmp_path / "no.toml")


def test_mapping_faults_name_their_source():
    """A logger from elsewhere says where it came from."""
    with pytest.raises(BadLogger, match="record 12: the logger file cannot be used"):
        logger_from_mapping({}, where="record 12")


def test_channel_made_in_code_is_checked_too():
    """Contradictions are found without a file."""
    with pytest.raises(pydantic.ValidationError, match="mV does not suit battery_a"):
        Channel(column=1, role="battery_a", unit="mV")


def test_headers_that_are_roles_make_a_logger():
    """Role names, each with an optional unit in brackets; other columns are left alone."""
    headers = ["time_s [ms]", "battery_a [mA]", "drain_a (µA)", " Battery_V ", "mark", "engine temperature"]
    logger = logger_from_headers(headers)

    assert (logger.time.column, logger.time.unit) == ("time_s [ms]", "ms")
    assert [(channel.column, channel.role, channel.unit) for channel in logger.channel] == [
        ("battery_a [mA]", "battery_a", "mA"),
        ("drain_a (µA)", "drain_a", "uA"),
        (" Battery_V ", "battery_v", "V"),
        ("mark", "mark", "text"),
    ]
    assert {channel.gain_rel for channel in logger.channel} == {None}


@pytest.mark.parametrize(
    "headers",
    [
        ["Test Time / s", "Voltage / V", "Current / A", "Ambient Temperature / degC"],
        ["test_time_second", "voltage_volt", "current_ampere", "ambient_temperature_celsius"],
    ],
)
def test_battery_data_format_turns_the_current(headers):
    """Labels and machine names of the Battery Data Format (ontology 1.2.0), where positive current charges."""
    logger = logger_from_headers(["Cycle Count / 1", *headers])

    assert (logger.time.column, logger.time.unit) == (headers[0], "s")
    assert [(channel.role, channel.positive) for channel in logger.channel] == [
        ("battery_v", "discharge"),
        ("battery_a", "charge"),
        ("battery_c", "discharge"),
    ]
    assert logger.channel_of("battery_a").to_canonical() == (-1.0, 0.0)


@pytest.mark.parametrize("order", [1, -1])
def test_test_time_is_preferred_to_clock_time(order):
    """Of the format's two times the elapsed one is used, in whichever order they stand."""
    logger = logger_from_headers([*["Test Time / s", "Unix Time / s"][::order], "Voltage / V"])

    assert (logger.time.column, logger.time.unit) == ("Test Time / s", "s")


def test_clock_time_alone_is_used():
    """Unix time is seconds since 1970."""
    assert logger_from_headers(["Unix Time / s", "Voltage / V"]).time.unit == "epoch_s"


@pytest.mark.parametrize("headers", [[], ["t", "U", "I"], ["time_s"], ["1", "12.6"]])
def test_headers_without_a_role_make_none(headers):
    """Nothing is guessed."""
    assert logger_from_headers(headers) is None


@pytest.mark.parametrize(
    ("headers", "fault"),
    [
        (["battery_a [parsec]"], r'column "battery_a \[parsec\]": unknown unit "parsec"; known are uV'),
        (["battery_v [ma]"], r'unknown unit "ma"; did you mean mA\?'),
        (["battery_a [mV]"], "mV does not suit battery_a, which needs uA, mA, A"),
        (["time_s [h]", "battery_v"], r'column "time_s \[h\]": unknown unit "h"; known are s, ms, us'),
        (["battery_v", "battery_v [mV]"], 'battery_v is already in column "battery_v"; rename one of them'),
        (["battery_v", "Voltage / V"], 'battery_v is already in column "battery_v"'),
    ],
)
def test_bad_headers_are_named(headers, fault):
    """A role that cannot be used is refused, not left out."""
    with pytest.raises(BadLogger, match=fault):
        logger_from_headers(headers)


def test_schema_accepts_a_full_file():
    """The JSON Schema is one, and a full logger file satisfies it."""
    schema = logger_schema()

    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(tomllib.loads(FULL), schema)


@pytest.mark.parametrize("text", ["", CHANNEL + "x = 1", CHANNEL.replace("battery_v", "speed")])
def test_schema_refuses_what_the_logger_refuses(text):
    """Editors can warn before benchlog does."""
    with pytest.raises(jsonschema.ValidationError, match=r"required|not allowed|is not one of"):
        jsonschema.validate(tomllib.loads(text), logger_schema())
