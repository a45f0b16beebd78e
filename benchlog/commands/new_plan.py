"""A first plan in the terminal: questions a person can answer who knows the bike, each with a suggestion."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import typer

from benchlog.commands.asking import Asker, Unusable, number
from benchlog.core.errors import BenchlogError

_M_PER = {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, '"': 0.0254, "ft": 0.3048, "'": 0.3048}
_NONE = ("-", "no", "none")


def new_plan(path: Path) -> None:
    """Ask for the install and write its plan.

    Raises:
        BenchlogError: a file lies there, it cannot be written, or the answers end too soon.
    """
    from benchlog.core.files import refuse_unwritable, write_whole
    from benchlog.plan.model import plan_from_mapping
    from benchlog.plan.writing import plan_text
    from benchlog.report.plan import render_plan

    if path.exists():
        raise BenchlogError(f"{path}: there is a file already; name a new one, or edit this one and run benchlog plan")
    refuse_unwritable(path, "the plan")
    asker = Asker("nothing was written")
    typer.echo('Enter takes what stands in brackets; "-" means: not there, or not known.')
    tables: dict[str, Any] = {"install": {"bike": asker.ask("Name of the bike", _text)}}
    _battery(tables, asker)
    _circuits(tables, asker)
    _feed(tables, asker)
    _relay(tables, asker)
    _alternator(tables, asker)
    said = _limits(tables, asker)
    plan = plan_from_mapping(tables, "the answers")
    typer.echo()
    typer.echo(render_plan(plan), nl=False)
    write_whole(path, plan_text(tables, said), what="the plan")
    typer.echo(f"\n{asker.typed} answers typed of {asker.asked} questions. Written: {path}")


def _battery(tables: dict[str, Any], asker: Asker) -> None:
    from benchlog.plan.doubts import BATTERY_AH

    chemistry = asker.ask("Battery: flooded, agm, gel or lifepo4", _one_of("flooded", "agm", "gel", "lifepo4"), "agm")
    least, most = BATTERY_AH
    while not least <= (capacity_ah := asker.ask("Its capacity in Ah", _sized("Ah"))) <= most:
        if asker.yes(f"Motorcycle batteries have {least:g} to {most:g} Ah. Is {capacity_ah:g} Ah right?", False):
            break
    tables["battery"] = {"chemistry": chemistry, "capacity_ah": capacity_ah}


def _circuits(tables: dict[str, Any], asker: Asker) -> None:
    from benchlog.core.roles import SLOTS
    from benchlog.plan.doubts import LARGEST_LOAD_A
    from benchlog.plan.model import RATED_V, amperes
    from benchlog.plan.suggested import fuse_for, wire_for

    tables["circuit"] = circuits = []
    for slot in range(1, SLOTS + 1):
        device = asker.ask(f"Slot {slot} of the fuse block: device (Enter: no more)", str, "")
        if not device:
            break
        key, load = asker.ask(f"  {device}: amperes or watts, such as 3.5 A or 45 W", _load)
        while load > (LARGEST_LOAD_A if key == "planned_a" else LARGEST_LOAD_A * RATED_V):
            if asker.yes(f"  No usual accessory draws more than {LARGEST_LOAD_A:g} A. Is it right?", False):
                break
            key, load = asker.ask("  amperes or watts", _load)
        load_a = amperes(load) if key == "planned_w" else load
        fuse_a = asker.ask("  its fuse in A", _optional(_sized("A")), f"{fuse_for(load_a):g}")
        wire = asker.ask("  its wire, such as 1 mm2 or 16 AWG", _optional(_wire), wire_for(fuse_a or 5.0))
        circuit: dict[str, Any] = {"slot": slot, "device": device, key: load, "fuse_a": fuse_a, "conductor": wire}
        circuits.append(_known({**circuit, **asker.ask("  length of the wire, one way", _optional(_length), "1 m")}))


def _feed(tables: dict[str, Any], asker: Asker) -> None:
    from benchlog.plan.model import amperes
    from benchlog.plan.suggested import fuse_for, wire_for

    loads = [each.get("planned_a") or amperes(each["planned_w"]) for each in tables["circuit"]]
    fuse_a = asker.ask(
        "Feed fuse near the battery, in A", _optional(_sized("A")), f"{fuse_for(sum(loads)):g}" if loads else "20"
    )
    wire = asker.ask("Wire from battery + over the relay to the fuse block", _optional(_wire), wire_for(fuse_a or 20.0))
    feed = {"fuse_a": fuse_a, "conductor": wire, **asker.ask("  its length, one way", _optional(_length), "1.5 m")}
    bare = asker.ask("  of that, from battery + to the fuse", _optional(_length), "-")
    tables["feed"] = _known({**feed, **{key.replace("length", "unfused"): value for key, value in bare.items()}})
    wire = asker.ask("Wire from the ground bus to battery -", _optional(_wire), wire or "-")
    tables["ground"] = _known({"conductor": wire, **asker.ask("  its length", _optional(_length), "1.5 m")})


def _relay(tables: dict[str, Any], asker: Asker) -> None:
    trigger = asker.ask("Which switched circuit triggers the relay", _optional(_text), "tail lamp")
    fuse_a = asker.ask("  fuse of the trigger wire of its own, in A", _optional(_sized("A")), "-")
    contact_a = asker.ask("Relay contact, in A", _optional(_sized("A")), "30")
    coil_a = asker.ask("  coil current, in A", _optional(_sized("A")), "0.15")
    kind = asker.ask("  across its coil: none, resistor or diode", _one_of("none", "resistor", "diode", "-"), "-")
    relay = {"trigger": trigger, "trigger_fuse_a": fuse_a, "coil_a": coil_a, "contact_a": contact_a}
    tables["relay"] = _known({**relay, "suppression": None if kind == "-" else kind})
    tables["relay"] |= {"pull_in_max_ms": 30, "drop_out_max_ms": 60}


def _alternator(tables: dict[str, Any], asker: Asker) -> None:
    speed_a = asker.ask("Alternator at riding speed, in A", _optional(_sized("A")), "-")
    if speed_a:
        idle_a = asker.ask("  at idle, in A", _optional(_sized("A")), "-")
        bike_a = asker.ask("  what the bike itself needs, in A", _optional(_sized("A")), "-")
        tables["alternator"] = _known({"idle_a": idle_a, "speed_a": speed_a, "bike_a": bike_a})


def _limits(tables: dict[str, Any], asker: Asker) -> dict[str, str]:
    """Show the suggested limits, take changes; the comment behind each."""
    from benchlog.plan.suggested import suggested_limits

    battery = tables["battery"]
    suggested = {each.key: each for each in suggested_limits(battery["chemistry"], battery["capacity_ah"])}
    limits: dict[str, Any] = {key: each.value for key, each in suggested.items()}
    changed: set[str] = set()
    typer.echo("Limits suggested for this battery:")
    for n, (key, each) in enumerate(suggested.items(), start=1):
        typer.echo(f"  {n:2} {key:27} {each.value!s:>6}  {each.source}")
    while True:
        said = asker.ask("Change one (number and value, such as: 1 2.5), or go on", _change(list(suggested)), "go on")
        if said is None:
            break
        key, value = said
        limits[key] = value
        changed.add(key)
    tables["limits"] = limits
    left = [key for key in limits if key not in changed]
    if not asker.yes("Are these limits the ones that you want? With n they stay marked as suggestions", False):
        tables["install"]["suggested"] = left
    marked = "suggested" if "suggested" in tables["install"] else "confirmed"
    return {f"limits.{key}": f"{marked}: {suggested[key].source}" for key in left}


def _change(keys: list[str]) -> Callable[[str], tuple[str, float | str] | None]:
    def read(said: str) -> tuple[str, float | str] | None:
        if said == "go on":
            return None
        words = said.split()
        if len(words) != 2 or not words[0].isdigit() or not 1 <= int(words[0]) <= len(keys):
            raise Unusable(f"the number of a limit (1 to {len(keys)}) and its value are needed")
        key = keys[int(words[0]) - 1]
        return key, _one_of("hold", "drop", "any")(words[1]) if key == "feed_in_crank" else number(words[1])

    return read


def _known(table: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in table.items() if value is not None}


def _text(said: str) -> str:
    if not said.isprintable():
        raise Unusable("one line of plain text is needed")
    return said


def _one_of(*words: str) -> Callable[[str], str]:
    def read(said: str) -> str:
        if said.casefold() not in words:
            raise Unusable(f"one of {', '.join(words)} is needed")
        return said.casefold()

    return read


def _sized(unit: str) -> Callable[[str], float]:
    """A number, with its unit behind it or not."""

    def read(said: str) -> float:
        return number(re.sub(rf"\s*{unit}$", "", said, flags=re.IGNORECASE))

    return read


def _optional(read: Callable[[str], Any]) -> Callable[[str], Any]:
    """An answer, or "-" for none: an empty table where ``read`` gives a table."""

    def answer(said: str) -> Any:
        if said.casefold() in _NONE:
            return {} if read is _length else None
        return read(said)

    return answer


def _load(said: str) -> tuple[str, float]:
    found = re.fullmatch(r"(\d+[.,]?\d*)\s*(A|W|amps?|watts?)", said, re.IGNORECASE)
    if found is None:
        raise Unusable("a number with A or W is needed, such as 3.5 A or 45 W")
    return ("planned_w" if found[2][0] in "wW" else "planned_a"), number(found[1])


def _wire(said: str) -> str:
    from benchlog.plan.wiring import conductor

    try:
        conductor(said)
    except ValueError as why:
        raise Unusable(str(why)) from None
    return said


def _length(said: str) -> dict[str, float]:
    """A length as it was given: metres or feet; other units are turned to those, and that is told."""
    found = re.fullmatch(r"(\d+[.,]?\d*)\s*(m|cm|mm|in|ft|\"|')", said, re.IGNORECASE)
    if found is None:
        raise Unusable("a number with its unit is needed, such as 1.2 m, 18 in or 4 ft")
    value, unit = number(found[1]), found[2].lower()
    if unit == "m":
        return {"length_m": value}
    if unit in ("ft", "'"):
        return {"length_ft": value}
    turned = float(f"{value * _M_PER[unit]:.2g}")
    typer.echo(f"  {value:g} {unit} are {turned:g} m")
    return {"length_m": turned}
