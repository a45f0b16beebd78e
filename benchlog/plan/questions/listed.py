"""Every question of a plan, in the order in which a person can answer them."""

from collections.abc import Callable, Iterator

from benchlog.core.roles import SLOTS
from benchlog.plan.doubts import capacity_doubt, length_doubt, load_doubt
from benchlog.plan.model import CHEMISTRIES
from benchlog.plan.questions import offers
from benchlog.plan.questions.kinds import (
    AmountAnswer,
    ChoiceAnswer,
    LengthAnswer,
    LoadAnswer,
    TextAnswer,
    WholeAnswer,
    WireAnswer,
    metres,
)
from benchlog.plan.questions.limits import LIMITS
from benchlog.plan.questions.question import Offer, PlanQuestion, PlanSection, Tables

Offering = Callable[[Tables, Tables], Offer | None]

_METRES_OR_FEET = ("length_m", "length_ft")
_COIL = "data sheets list 0.04 to 0.15 A (common practice, no source)"
_RELAY = "as printed on most cube relays (common practice, no source)"
_MAKERS = "makers promise about 10 ms (common practice, no source)"


def _capacity(own: Tables, _tables: Tables) -> str:
    return capacity_doubt(own["capacity_ah"])


def _load(own: Tables, _tables: Tables) -> str:
    return load_doubt(offers.load_of(own) or 0.0)


def _length(own: Tables, _tables: Tables) -> str:
    return length_doubt(metres(own, _METRES_OR_FEET) or 0.0)


def _wire(section: str, such_as: str, offer: Offering, so_long: str, *, guess: str) -> Iterator[PlanQuestion]:
    """Of a path its wire and how long that is; ``such_as`` and ``so_long`` are examples."""
    yield PlanQuestion(section, ("conductor",), "Its wire", WireAnswer(), such_as=such_as, offer=offer)
    yield PlanQuestion(
        section,
        _METRES_OR_FEET,
        "Length of the wire, one way",
        LengthAnswer(),
        such_as=so_long,
        offer=offers.always(guess, "a first guess: measure it"),
        doubt=_length,
    )


def _loss(section: str, key: str, asked: str) -> PlanQuestion:
    """What a path may lose, which its wire tells where nobody says it."""
    told = "worked out from wire, length and load"
    return PlanQuestion(section, (key,), asked, AmountAnswer("V"), quiet=True, empty=told)


INSTALL = PlanSection(
    "install",
    "The bike",
    (
        PlanQuestion("install", ("bike",), "Name of the bike", TextAnswer(), such_as="Larch", needed=True),
        PlanQuestion("install", ("notes",), "Notes", TextAnswer(lines=True), quiet=True),
    ),
)

BATTERY = PlanSection(
    "battery",
    "Battery",
    (
        PlanQuestion(
            "battery",
            ("chemistry",),
            "Kind of battery",
            ChoiceAnswer(CHEMISTRIES),
            offer=offers.always("agm", "what most bikes have (common practice, no source)"),
        ),
        PlanQuestion(
            "battery",
            ("capacity_ah",),
            "Capacity in Ah",
            AmountAnswer("Ah"),
            such_as="11.2",
            needed=True,
            doubt=_capacity,
        ),
    ),
)

CIRCUIT = PlanSection(
    "circuit",
    "Circuits",
    (
        PlanQuestion(
            "circuit",
            ("slot",),
            "Slot of the fuse block",
            WholeAnswer(SLOTS),
            quiet=True,
            offer=offers.next_slot,
        ),
        PlanQuestion("circuit", ("device",), "Device", TextAnswer(), such_as="heated grips", needed=True),
        PlanQuestion(
            "circuit",
            ("planned_a", "planned_w"),
            "Load in amperes or watts",
            LoadAnswer(),
            such_as="3.5 A or 45 W",
            needed=True,
            doubt=_load,
        ),
        PlanQuestion("circuit", ("fuse_a",), "Its fuse in A", AmountAnswer("A"), offer=offers.slot_fuse_offer),
        *_wire("circuit", "1 mm2 or 16 AWG", offers.slot_wire_offer, "1.2 m or 4 ft", guess="1 m"),
        PlanQuestion(
            "circuit",
            ("tolerance_pct",),
            "May differ by, %",
            AmountAnswer("%", least=0),
            quiet=True,
            empty="20 %",
        ),
    ),
)

FEED = PlanSection(
    "feed",
    "Feed: battery + over the relay to the fuse block",
    (
        PlanQuestion(
            "feed", ("fuse_a",), "Feed fuse near the battery, in A", AmountAnswer("A"), offer=offers.feed_fuse_offer
        ),
        *_wire("feed", "4 mm2 or 12 AWG", offers.feed_wire_offer, "1.5 m or 5 ft", guess="1.5 m"),
        PlanQuestion(
            "feed",
            ("unfused_m", "unfused_ft"),
            "Of that, from battery + to the fuse",
            LengthAnswer(),
            such_as="12 cm or 5 in",
            empty="not known: nothing is said about wire that no fuse protects",
        ),
        _loss("feed", "drop_max_v", "May lose at the planned load, V"),
    ),
)

GROUND = PlanSection(
    "ground",
    "Ground: the bus back to battery −",
    (
        *_wire("ground", "4 mm2 or 12 AWG", offers.ground_wire_offer, "1.5 m or 5 ft", guess="1.5 m"),
        _loss("ground", "lift_max_v", "May rise at the planned load, V"),
    ),
)

RELAY = PlanSection(
    "relay",
    "Relay",
    (
        PlanQuestion(
            "relay",
            ("trigger",),
            "Which switched circuit triggers it",
            TextAnswer(),
            offer=offers.always("tail lamp", "on with the key, near the battery (common practice, no source)"),
        ),
        PlanQuestion(
            "relay",
            ("trigger_fuse_a",),
            "The trigger wire's own fuse, in A",
            AmountAnswer("A"),
            such_as="1",
            empty="it has none: the bike's own fuse protects it",
        ),
        PlanQuestion("relay", ("contact_a",), "Contact, in A", AmountAnswer("A"), offer=offers.always("30", _RELAY)),
        PlanQuestion("relay", ("coil_a",), "Coil current, in A", AmountAnswer("A"), offer=offers.always("0.15", _COIL)),
        PlanQuestion(
            "relay",
            ("suppression",),
            "Across its coil",
            ChoiceAnswer(("none", "resistor", "diode")),
            empty="not known",
        ),
        PlanQuestion(
            "relay",
            ("pull_in_max_ms",),
            "Must close within, ms",
            AmountAnswer("ms"),
            quiet=True,
            offer=offers.always("30", _MAKERS),
        ),
        PlanQuestion(
            "relay",
            ("drop_out_max_ms",),
            "Must open within, ms",
            AmountAnswer("ms"),
            quiet=True,
            offer=offers.always("60", "10 ms with a diode, more on a long trigger line (common practice, no source)"),
        ),
    ),
)

ALTERNATOR = PlanSection(
    "alternator",
    "Alternator",
    (
        PlanQuestion(
            "alternator",
            ("speed_a",),
            "What it gives at riding speed, in A",
            AmountAnswer("A"),
            such_as="30",
            empty="not known: whether it carries the load is not worked out",
        ),
        PlanQuestion(
            "alternator",
            ("idle_a",),
            "What it gives at idle, in A",
            AmountAnswer("A"),
            such_as="12",
            after="speed_a",
            empty="not known",
        ),
        PlanQuestion(
            "alternator",
            ("bike_a",),
            "What the bike itself needs, in A",
            AmountAnswer("A", least=0),
            such_as="10",
            after="speed_a",
            empty="not known: the planned load alone is held against it",
        ),
    ),
)


SECTIONS = (INSTALL, BATTERY, CIRCUIT, FEED, GROUND, RELAY, ALTERNATOR, LIMITS)
