"""An install as an ngspice deck: battery, key, relay, three circuits, starter, alternator, and their faults.

Nothing of it is benchlog's: the circuit is solved by ngspice, whose own ``.meas`` figures stand beside the log that is
sampled from its solution. What is measured when (s): at rest to 15, key on at 15, circuits on at 19, 23 and 27, cranked
from 33 to 34.2, running to 56, key off at 56, asleep to 90.
"""

import re
import subprocess
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd
from world.spice import read_raw

KEY_ON_S, CIRCUITS_S, CRANK_S, FIRES_S, KEY_OFF_S, END_S = 15.0, (19.0, 23.0, 27.0), 33.0, 34.2, 56.0, 90.0
RATE_HZ = 500.0
#: What the tester notes.
MARKS = (
    (KEY_ON_S, "key on"),
    *((at, f"slot {n} on") for n, at in enumerate(CIRCUITS_S, start=1)),
    (CRANK_S, "crank"),
    (36.0, "running"),
    (KEY_OFF_S, "key off"),
)
LOADS_OHM = (3.4, 4.8, 4.0)

#: How ngspice integrates: what comes to the session's end first.
OPTIONS = (
    "reltol=1e-4 abstol=1e-9 method=trap",
    "reltol=1e-4 abstol=1e-9 method=gear",
    "reltol=1e-3 abstol=1e-6 vntol=1e-5 itl4=100 method=gear",
)

Steps = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Circuit:
    """The install's parts; ohm, F, H, V, A, s. As it stands nothing is wrong with it.

    Attributes:
        battery_ohm, takes_ohm: of the battery, discharged and charged.
        trigger: when the trigger's own line is live, as the key's if None. feed_cut: when the feed's joint is open.
        wakes_a: drawn for 1 s every 5 s. sleeps_late: (A, s after the key-off) of a device that stays awake.
        source_in_a: what a charger gives with the key off. normally_closed: the feed is on 87a.
        drops_in_crank: the trigger's line is cut while the starter turns.
    """

    emf_v: float = 12.8
    battery_ohm: float = 0.012
    takes_ohm: float = 0.15
    own_ohm: float = 3.0
    trigger: Steps | None = None
    trigger_ohm: float = 0.01
    trigger_f: float = 1e-9
    coil_ohm: float = 90.0
    coil_h: float = 0.3
    contact_off_ohm: float = 1e8
    normally_closed: bool = False
    backfeed: bool = False
    feed_ohm: float = 0.014
    feed_cut: Steps = ()
    ground_ohm: float = 0.005
    loads_ohm: tuple[float, ...] = LOADS_OHM
    drain_ohm: float = 21e3
    wakes_a: float = 0.0
    sleeps_late: tuple[float, float] = (0.0, 3.0)
    starter_ohm: float = 0.11
    alternator_a: float = 32.0
    regulated_v: float = 14.2
    source_in_a: float = 0.0
    drops_in_crank: bool = False


@dataclass(frozen=True)
class Solved:
    """What ngspice made of a circuit.

    Attributes:
        frame: the log, sampled at 500 Hz, with the noise of a good logger. measured: ngspice's own figures by name.
    """

    frame: pd.DataFrame
    measured: Mapping[str, float] = field(default_factory=dict)


def _pwl(name: str, spans: Steps) -> str:
    """A control voltage: 1 V within the spans, with edges of 10 us."""
    points = [(0.0, float(any(a <= 0 < b for a, b in spans)))]
    for a, b in spans:
        if a > 0:
            points += [(a, 0.0), (a + 1e-5, 1.0)]
        points += [(b, 1.0), (b + 1e-5, 0.0)]
    return f"V{name} {name} 0 PWL(" + " ".join(f"{t:.6f} {v:g}" for t, v in points) + ")"


def _ticks(name: str, at_s: float) -> str:
    """Corners every 0.1 ms while the relay moves, then every 1 ms: ngspice takes no step across one."""
    after = [*np.arange(-1e-4, 0.012, 1e-4), *np.arange(0.012, 0.08, 1e-3)]
    times = [0.0, *(at_s + 3e-6 + each for each in after)]
    return f"V{name} {name} 0 PWL(" + " ".join(f"{t:.6f} {n % 2}" for n, t in enumerate(times)) + ")"


def deck(c: Circuit) -> str:
    """The netlist."""
    key: Steps = ((KEY_ON_S, KEY_OFF_S),)
    trigger = key if c.trigger is None else c.trigger
    if c.drops_in_crank:
        trigger = ((KEY_ON_S, CRANK_S + 0.01), (FIRES_S + 0.05, KEY_OFF_S))
    wakes = tuple((t, t + 1.0) for t in np.arange(60.0, END_S, 5.0)) if c.wakes_a else ()
    awake_a, awake_s = c.sleeps_late
    lines = [
        "install",
        f"Vemf n0 0 {c.emf_v}",
        f"Bbat n0 n1 I=V(n0,n1)>0 ? V(n0,n1)/{c.battery_ohm} : V(n0,n1)/{c.takes_ohm}",
        "Vbat n1 bat 0",
        *(_pwl(name, spans) for name, spans in (("key", key), ("ktr", trigger), ("wake", wakes))),
        *(_pwl(f"s{n}", ((at, END_S + 1),)) for n, at in enumerate(CIRCUITS_S, start=1)),
        _pwl("starts", ((CRANK_S, FIRES_S),)),
        _pwl("turns", ((FIRES_S + 0.2, KEY_OFF_S),)),
        _pwl("late", ((KEY_OFF_S, KEY_OFF_S + awake_s),)),
        _pwl("given", ((0.0, KEY_ON_S - 1), (KEY_OFF_S + 1, END_S + 1))),
        _pwl("cut", c.feed_cut),
        *(_ticks(f"tick{n}", at) for n, at in enumerate((KEY_ON_S, KEY_OFF_S))),
        ".model SWITCH SW(vt=0.5 vh=0.05 ron=5m roff=100meg)",
        ".model STOUT SW(vt=0.5 vh=0.05 ron=0.2m roff=100meg)",
        ".model JOINT SW(vt=-0.5 vh=0.05 ron=0.5m roff=100meg)",
        f".model CONTACT CSW(it=0.055 ih=0.025 ron=1m roff={c.contact_off_ohm:g})",
        ".model CLOSED CSW(it=0.055 ih=0.025 ron=100meg roff=1m)",
        ".model DIODE D(is=1e-14)",
        "Skey bat line key 0 SWITCH",
        f"Rown line 0 {c.own_ohm}",
        "Strig bat lamp ktr 0 SWITCH",
        "Rlamp lamp 0 25",
        f"Rtrig lamp t86 {c.trigger_ohm:g}",
        f"Ctrig t86 0 {c.trigger_f:g}",
        "Dcoil 0 t86 DIODE",
        f"Rcoil t86 c1 {c.coil_ohm:g}",
        f"Lcoil c1 c2 {c.coil_h:g}",
        "Vcoil c2 0 0",
        f"Rfeed bat f1 {c.feed_ohm:g}",
        "Bcut ncut 0 V=-V(cut)",
        "Sjoint f1 f30 ncut 0 JOINT",
        "Vfeed f30 f31 0",
        f"Wcon f31 feed Vcoil {'CLOSED' if c.normally_closed else 'CONTACT'}",
        "Rstud feed 0 10k",
    ]
    for n, ohm in enumerate(c.loads_ohm, start=1):
        lines += [f"Sslot{n} feed d{n} s{n} 0 SWITCH", f"Vslot{n} d{n} e{n} 0", f"Rslot{n} e{n} bus {ohm:g}"]
    lines += [
        f"Rbus bus 0 {c.ground_ohm:g}",
        "Sstart bat st starts 0 STOUT",
        f"Rstart st 0 {c.starter_ohm:g}",
        f"Balt 0 bat I=V(turns)*min(max(({c.regulated_v}-V(bat))*100,0),{c.alternator_a})",
        f"Rdrain bat 0 {c.drain_ohm:g}",
        f"Bwake bat 0 I=V(wake)*{c.wakes_a:g}",
        f"Blate bat 0 I=V(late)*{awake_a:g}",
        f"Bgiven 0 bat I=V(given)*{c.source_in_a:g}",
        "Bdrop drop 0 V=V(bat)-V(feed)",
    ]
    if c.backfeed:
        lines += ["Dback feed lamp DIODE"]
    return "\n".join([*lines, *_measures(), ""])


def _measures() -> list[str]:
    """What ngspice measures by itself, and what it writes."""
    half = 6.3
    return [
        f".meas tran rest_v AVG v(bat) FROM=2 TO={KEY_ON_S - 1}",
        f".meas tran pull_in TRIG v(t86) VAL={half} RISE=1 TARG v(feed) VAL={half} RISE=1",
        f".meas tran drop_out TRIG v(t86) VAL={half} FALL=LAST TARG v(feed) VAL={half} FALL=LAST",
        ".meas tran idle_v FIND v(bat) AT=18.5",
        ".meas tran idle_a FIND i(Vbat) AT=18.5",
        ".meas tran loaded_v FIND v(bat) AT=32",
        ".meas tran loaded_a FIND i(Vbat) AT=32",
        ".meas tran drop_v FIND v(drop) AT=32",
        ".meas tran lift_v FIND v(bus) AT=32",
        *(f".meas tran slot_{n} FIND i(Vslot{n}) AT=32" for n in (1, 2, 3)),
        f".meas tran crank_v MIN v(bat) FROM={CRANK_S + 0.02} TO={FIRES_S - 0.02}",
        f".meas tran loss TRIG v(feed) VAL=5 TD={CRANK_S} FALL=1 TARG v(feed) VAL=5 TD={CRANK_S} RISE=1",
        f".meas tran run_v AVG v(bat) FROM=36 TO={KEY_OFF_S - 1}",
        f".meas tran run_a AVG i(Vbat) FROM=36 TO={KEY_OFF_S - 1}",
        f".meas tran asleep_at WHEN i(Vbat)=1.5m TD={KEY_OFF_S} FALL=LAST",
        ".meas tran drain_a AVG i(Vbat) FROM=80 TO=90",
        ".meas tran off_v AVG v(feed) FROM=80 TO=90",
        ".options OPTIONS",
        f".tran 2m {END_S} 0 20m",
        ".save v(bat) i(Vbat) v(line) v(t86) v(feed) v(bus) v(drop) v(key) i(Vfeed) i(Vslot1) i(Vslot2) i(Vslot3)",
        ".control",
        "run",
        "set filetype=binary",
        "write a.raw v(bat) i(Vbat) v(line) v(t86) v(feed) v(bus) i(Vfeed)",
        "quit",
        ".endc",
        ".end",
    ]


def solve(c: Circuit, seed: int = 1) -> Solved:
    """Let ngspice solve the circuit.

    Raises:
        AssertionError: ngspice did not come to the end; the message holds what it said.
    """
    text = deck(c)
    for options in OPTIONS:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            (folder / "a.cir").write_text(text.replace("OPTIONS", options), encoding="ascii")
            ran = subprocess.run(
                ["ngspice", "-b", "a.cir"], cwd=folder, capture_output=True, text=True, check=False, timeout=300
            )
            said = "\n".join((ran.stdout + ran.stderr).splitlines()[-15:])
            if (folder / "a.raw").exists():
                times, values = read_raw(folder / "a.raw")
                if times[-1] > END_S - 0.1:
                    break
    else:
        raise AssertionError(f"ngspice did not come to the end:\n{said}")
    found = re.findall(r"^(\w+)\s+=\s+([-+.\de]+)", ran.stdout, flags=re.MULTILINE)
    return Solved(_sampled(times, values, seed), {key: float(value) for key, value in found})


def _sampled(times: np.ndarray, values: Mapping[str, np.ndarray], seed: int) -> pd.DataFrame:
    """What a good logger reads of the solution."""
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, END_S, 1 / RATE_HZ)
    _, first = np.unique(times, return_index=True)
    named = {"v(line)": "key_v", "key_v": "key_v"}
    table = {"time_s": t}
    for key, x in values.items():
        role = named.get(key.lower(), key)
        noise, code = (0.002, 0.001) if role.endswith("_v") else (2e-5, 1e-5)
        noisy = np.interp(t, times[first], x[first]) + rng.normal(0.0, noise, len(t))
        table[role] = np.round(noisy / code) * code
    marks = np.full(len(t), "", dtype=object)
    for at_s, mark in MARKS:
        marks[int(at_s * RATE_HZ)] = mark
    return pd.DataFrame(table | {"mark": marks})


def changed(**parts: object) -> Circuit:
    """The good install with these parts other than they should be."""
    return replace(Circuit(), **parts)  # type: ignore[arg-type]
