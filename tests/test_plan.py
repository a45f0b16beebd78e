"""Plan files: what is accepted, and how every fault is named."""

import tomllib

import jsonschema
import pydantic
import pytest
from settings_given import faults_of, loading

from benchlog.core.errors import BadPlan
from benchlog.plan.model import Plan, load_plan, plan_from_mapping, plan_schema

LARCH = """
[install]
bike = "Larch"                  # the season is kept under this name
notes = "rural vet's round bike"
[battery]
chemistry = "agm"
capacity_ah = 11.2
[relay]
trigger = "tail lamp"
coil_a = 0.14
contact_a = 30
suppression = "diode"
pull_in_max_ms = 30
drop_out_max_ms = 60
[feed]
fuse_a = 20
conductor = "4 mm2"
length_m = 1.5
drop_max_v = 0.30
[ground]
conductor = "4 mm2"
length_m = 1.6
lift_max_v = 0.10
[[circuit]]
slot = 1
device = "vaccine cool box"
planned_a = 3.5
tolerance_pct = 20
fuse_a = 5
conductor = "1 mm2"
length_m = 1.1
[limits]
off_state_drain_ma = 1.0
added_drain_ma = 0.2
settle_max_s = 120
feed_off_max_v = 0.5
battery_sag_max_v = 0.6
source_resistance_max_mohm = 40
resting_min_v = 12.6
crank_min_v = 9.6
feed_in_crank = "any"
charging_min_v = 13.5
charging_max_v = 14.8
charging_balance_min_a = 0.0
"""
LEAST = '[install]\nbike = "Larch"\n[battery]\nchemistry = "agm"\ncapacity_ah = 11\n'


load = loading("plan.toml", load_plan)


def test_full_plan_is_read(load):
    """Every key of a full plan arrives, in its place."""
    plan = load(LARCH)
    battery = plan.battery

    assert (plan.install.bike, battery.chemistry, battery.capacity_ah) == ("Larch", "agm", 11.2)
    assert (plan.relay.coil_a, plan.relay.suppression) == (0.14, "diode")
    assert (plan.feed.wire.area_mm2, plan.feed.run_m, plan.feed.drop_max_v) == (4.0, 1.5, 0.3)
    assert plan.circuit[0].device == "vaccine cool box"
    assert plan.limits.charging_balance_min_a == 0.0
    assert plan.planned_load_a == 3.5


def test_bike_and_battery_are_enough(load):
    """All else is optional: no load, no limits."""
    plan = load(LEAST)

    assert (plan.relay, plan.feed, plan.ground, plan.circuit) == (None, None, None, ())
    assert plan.planned_load_a == 0
    assert set(plan.limits.model_dump().values()) == {None}


def test_circuit_needs_only_slot_device_and_current(load):
    """Fuse and wire may be left out; the tolerance is then 20 per cent."""
    (circuit,) = load(LEAST + '[[circuit]]\nslot = 3\ndevice = "horn"\nplanned_a = 4').circuit

    assert (circuit.tolerance_pct, circuit.fuse_a, circuit.wire, circuit.run_m) == (20.0, None, None, None)


def test_planned_load_is_the_sum_of_the_circuits(load):
    """1.5 A and 3 A make 4.5 A."""
    circuits = "".join(f'[[circuit]]\nslot = {n}\ndevice = "lamp"\nplanned_a = {1.5 * n}\n' for n in (1, 2))

    assert load(LEAST + circuits).planned_load_a == 4.5


def test_feet_become_metres(load):
    """10 ft are 3.048 m."""
    assert load(LEAST + '[feed]\nconductor = "12awg"\nlength_ft = 10').feed.run_m == pytest.approx(3.048)


def test_byte_order_mark_is_no_fault(load):
    """Some editors put a mark before UTF-8 text."""
    assert load(b"\xef\xbb\xbf" + LEAST.encode()).install.bike == "Larch"


def test_plan_is_frozen(load):
    """A plan cannot be changed after it was made."""
    with pytest.raises(pydantic.ValidationError, match="frozen"):
        load(LEAST).battery.capacity_ah = 3


def test_plan_survives_a_round_trip(load):
    """What a plan dumps makes the same plan, with and without the empty keys."""
    plan = load(LARCH)

    assert plan_from_mapping(plan.model_dump(mode="json")) == plan
    assert plan_from_mapping(plan.model_dump(mode="json", exclude_none=True)) == plan


def test_all_faults_are_named_at_once(load):
    """Missing, unknown, wrong, out of range and contradicting keys come in one message, each with path and line."""
    faults = faults_of(
        load,
        """[install]
bkie = "x"
[battery]
chemistry = "adm"
capacity_ah = "11"
[feed]
length_m = 1
length_ft = 3
conductor = "thick"
[[circuit]]
slot = 1
device = "lamp"
planned_a = nan
[[circuit]]
slot = 1
planned_a = true
fuse_a = -5
coil_a = 1
[limits]
charging_min_v = 15
charging_max_v = 14
""",
    )

    assert faults == [
        'install.bike: missing; for example bike = "Larch"',
        "install.bkie: unknown key; did you mean bike? (line 2)",
        'battery.chemistry: must be one of flooded, agm, gel, lifepo4, got "adm"; did you mean agm? (line 4)',
        'battery.capacity_ah: must be a number, without quotes, got "11" (line 5)',
        "feed.length_ft: give length_m or length_ft, not both (line 8)",
        'feed.conductor: must be a wire size such as "4 mm2" or "12 AWG", got "thick" (line 9)',
        "circuit[1].planned_a: must be a finite number, got nan (line 13)",
        'circuit[2].device: missing; for example device = "heated grips"',
        "circuit[2].slot: slot 1 is already taken by circuit[1]; give each circuit its own (line 15)",
        "circuit[2].planned_a: must be a number, got true (line 16)",
        "circuit[2].fuse_a: must be > 0, got -5 (line 17)",
        "circuit[2].coil_a: unknown key here; it belongs in [relay] (line 18)",
        "limits.charging_max_v: must be at least charging_min_v (15), got 14 (line 21)",
    ]


@pytest.mark.parametrize(
    ("addition", "fault"),
    [
        ("[relay]\ncoil_a = 0", "relay.coil_a: must be > 0, got 0"),
        ("[relay]\nsuppression = 1", "relay.suppression: must be one of none, resistor, diode, got 1"),
        ("[feed]\nfuse_a = inf", "feed.fuse_a: must be a finite number, got inf"),
        ("[limits]\noff_state_drain_ma = -1", "limits.off_state_drain_ma: must be >= 0, got -1"),
        ("[limit]\ncrank_min_v = 9", "limit: unknown key; did you mean limits?"),
        ('[limits]\nfeed_in_crank = "dorp"', 'must be one of hold, drop, any, got "dorp"; did you mean drop?'),
        ("[circuit]\nslot = 1", "circuit: must be a list of tables, got a table; write [[circuit]] in double brackets"),
        ("[[relay]]\ncoil_a = 1", "relay: must be one table, got a list; write [relay] in single brackets"),
        ('[[circuit]]\nslot = 13\ndevice = "a"\nplanned_a = 1', "circuit[1].slot: must be <= 12, got 13"),
        ('[[circuit]]\nslot = 1.0\ndevice = "a"\nplanned_a = 1', "circuit[1].slot: must be a whole number, got 1.0"),
        ('[[circuit]]\nslot = 1\ndevice = " "\nplanned_a = 1', "circuit[1].device: must not be empty"),
        ('[[circuit]]\nslot = 1\ndevice = "a\\nb"\nplanned_a = 1', "circuit[1].device: must be one line of plain text"),
        ("[[circuit]]\nslot = 1\ndevice = 7\nplanned_a = 1", "circuit[1].device: must be text in quotes, got 7"),
        (
            '[[circuit]]\nslot = 1\ndevice = "a"\nplanned_a = 1\ntolerance_pct = 101',
            "circuit[1].tolerance_pct: must be <= 100, got 101",
        ),
        ("[ground]\nlength_m = 160", "ground.length_m: must be <= 100, got 160"),
        ("[ground]\nlength_m = 1979-05-27", "ground.length_m: must be a number, got 1979-05-27"),
        (f"[feed]\nfuse_a = 1{'0' * 400}", "feed.fuse_a: must be a"),
        ("[feed]\nfrobnicate = 1", "feed.frobnicate: unknown key; known are conductor, length_m, length_ft, fuse_a"),
    ],
)
def test_fault_says_what_was_needed_and_found(load, addition, fault):
    """One fault, in plain words, with its path."""
    (named,) = faults_of(load, LEAST + addition)

    assert fault in named


def test_missing_tables_come_with_what_they_need(load):
    """An empty plan lacks two tables."""
    assert faults_of(load, "") == [
        "install: missing; add [install] with bike",
        "battery: missing; add [battery] with chemistry and capacity_ah",
    ]


@pytest.mark.parametrize(
    ("content", "fault"),
    [
        ("[install]\nbike = = 2", "line 2, column 8: is not valid TOML: invalid value"),
        ("[install]\nbike = Larch", "line 2, column 8: is not valid TOML"),
        ('[install]\nbike = "x', "is not valid TOML: unterminated string"),
        ("a = " + "[" * 50_000, "nested too deeply"),
        ("a = " + "1" * 5000, "a number has thousands of digits"),
        (b'[install]\nbike = "L\xe4rche"', "line 2: is not UTF-8 text; save it as UTF-8"),
        ("[install]".encode("utf-16"), "line 1: is not UTF-8 text"),
        (b"#" * 1_100_000, "holds 1.1 MB, at most 1 MB is expected; this may be a log: name a .toml file"),
    ],
    ids=["value", "quotes", "end", "nested", "digits", "latin-1", "utf-16", "size"],
)
def test_unreadable_text_is_named_with_its_line(load, content, fault):
    """What is no TOML in UTF-8 is refused in one sentence."""
    (named,) = faults_of(load, content)

    assert fault in named


def test_missing_file_is_named(tmp_path):
    """The path is part of the message."""
    with pytest.raises(BadPlan, match=r"nowhere\.toml: the plan cannot be used\n  no such file"):
        load_plan(tmp_path / "nowhere.toml")


def test_folder_is_no_plan(tmp_path):
    """A folder is told from a file."""
    with pytest.raises(BadPlan, match="is a folder, not a file"):
        load_plan(tmp_path)


def test_device_is_no_plan():
    """A device is never read."""
    with pytest.raises(BadPlan, match="is not an ordinary file"):
        load_plan("/dev/null")


def test_unreadable_file_is_named(tmp_path, monkeypatch):
    """The system's reason is passed on."""
    path = tmp_path / "plan.toml"
    path.write_text(LEAST)

    def refuse(_self):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(path), "read_bytes", refuse)

    with pytest.raises(BadPlan, match=r"cannot be read \(permission denied\); check its permissions"):
        load_plan(path)


def test_mapping_faults_name_their_source():
    """A plan from elsewhere says where it came from."""
    with pytest.raises(BadPlan, match=r"record 12: the plan cannot be used\n  install: missing"):
        plan_from_mapping({"battery": {"chemistry": "gel", "capacity_ah": 9}}, where="record 12")


def test_plan_made_in_code_is_checked_too():
    """Contradictions are found without a file."""
    with pytest.raises(pydantic.ValidationError, match=r"limits.charging_max_v: must be at least charging_min_v"):
        Plan.model_validate(tomllib.loads(LEAST + "[limits]\ncharging_min_v = 15\ncharging_max_v = 14"))


def test_schema_accepts_a_full_plan():
    """The JSON Schema is one, and a full plan satisfies it."""
    schema = plan_schema()

    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(tomllib.loads(LARCH), schema)


@pytest.mark.parametrize(
    "addition",
    [
        "[feed]\nfuse_a = -1",
        "[feed]\nfuse = 1",
        "[relay]\nsuppression = 'zener'",
        "[[circuit]]\nslot = 13\ndevice = 'lamp'\nplanned_a = 1",
    ],
)
def test_schema_refuses_what_the_plan_refuses(addition):
    """Editors can warn before benchlog does."""
    with pytest.raises(jsonschema.ValidationError, match=r"minimum|maximum|unexpected|is not one of"):
        jsonschema.validate(tomllib.loads(LEAST + addition), plan_schema())


def test_every_key_is_described_in_the_schema():
    """Each key has a description, and each key with a unit in its name states a unit."""
    tables = plan_schema()["$defs"]
    keys = {f"{table}.{key}": entry for table, each in tables.items() for key, entry in each["properties"].items()}

    assert [key for key, entry in keys.items() if not entry.get("description")] == []
    for ending, unit in {"_a": "A", "_v": "V", "_ma": "mA", "_ms": "ms", "_mohm": "mΩ", "_ah": "Ah"}.items():
        assert [key for key in keys if key.endswith(ending) and f"{unit}" not in keys[key]["description"]] == []
