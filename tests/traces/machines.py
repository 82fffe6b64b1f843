"""Made-up solenoids that pull, solved by ngspice: where the truth about a recording comes from.

The coil is a flux linkage behind its resistance, its inductance a function of the plunger's place;
the plunger a mass with a spring, a damper and two stops, pulled by i^2/2 dL/dx. All of it stands in
the deck as behavioural sources, so none of the engine's equations is used.
"""

import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.reference import ngspice

Floats = NDArray[np.float64]
STEP = 40e-6
BEFORE, AFTER = 0.12, 0.06  # s recorded before the command and after the pull
STROKE = 0.02  # m


@dataclass(frozen=True)
class Solenoid:
    """One circuit: volts, ohms of the way to the pin and of the winding, henry, and mechanics."""

    volts: float
    way_ohms: float
    ohms: float
    open_henry: float
    ratio: float
    sharpness: float
    kilograms: float
    spring_newton: float
    damping: float
    pulse: float
    seized: bool
    clamp_volts: float
    bounces: int


@dataclass(frozen=True)
class Truth:
    """What ngspice made of it, every STEP; ``seats`` is None where the stop is never reached."""

    seconds: Floats
    amperes: Floats
    volts: Floats
    place: Floats
    seats: float | None

    @property
    def moved(self) -> bool | None:
        """Return whether it went to the stop; None for part of the way."""
        return True if self.seats is not None else None if self.place.max() > 0.05 else False


def draw(rng: np.random.Generator) -> Solenoid:
    """Draw a machine: 12 or 24 V, half of them moving freely, the rest seized or fed too little."""
    kind = rng.choice(["free", "free", "seized", "weak"])
    twice = rng.random() < 0.25
    ohms = rng.uniform(0.25, 0.5) * (4 if twice else 1) * rng.uniform(0.95, 1.25)
    return Solenoid(
        volts=rng.uniform(11.0, 13.0) * (2 if twice else 1),
        way_ohms=rng.uniform(0.02, 0.09) if kind != "weak" else ohms * rng.uniform(2.5, 5),
        ohms=ohms, open_henry=rng.uniform(0.9e-3, 3e-3) * (4 if twice else 1),
        ratio=rng.uniform(1.8, 4.0), sharpness=rng.uniform(2.5, 6.0),
        kilograms=rng.uniform(0.08, 0.4), spring_newton=rng.uniform(2.0, 6.0),
        damping=float(np.exp(rng.uniform(np.log(4), np.log(150)))),
        pulse=rng.uniform(0.3, 1.2), seized=kind == "seized",
        clamp_volts=0.8 if rng.random() < 0.5 else rng.uniform(60, 150),
        bounces=int(rng.integers(0, 4)) if rng.random() < 0.3 else 0,
    )  # fmt: skip


def _command(one: Solenoid) -> str:
    """Return the contact over time, with its bounces, as the points of a PWL source."""
    points, at = [(0.0, 0), (BEFORE, 0), (BEFORE + 1e-5, 1)], BEFORE
    for _ in range(one.bounces):
        points += [(at + 1e-3, 1), (at + 1.01e-3, 0), (at + 1.6e-3, 0), (at + 1.61e-3, 1)]
        at += 1.7e-3
    end = BEFORE + one.pulse
    points += [(end, 1), (end + 1e-5, 0)]
    return " ".join(f"{seconds:.7g} {level}" for seconds, level in points)


def deck(one: Solenoid, out: str) -> str:
    """Return the deck of one machine, which writes current, pin voltage and place to a file."""
    k = one.sharpness
    grown = one.open_henry * (one.ratio - 1) * (1 + k) / k  # henry that the gap hides
    leak = one.open_henry - grown / (1 + k)
    henry = f"({leak:.6g}+{grown:.6g}/(1+(1-v(y))*{k:.6g}))"
    slope = f"({grown * k:.6g}/(1+(1-v(y))*{k:.6g})/(1+(1-v(y))*{k:.6g}))"
    force = f"(0.5*v(cur)*v(cur)*{slope}/{STROKE})"
    spring = f"({one.spring_newton:.6g}*(1+v(y)))"
    stop = 1e6
    damp = 1.2 * np.sqrt(stop * one.kilograms)
    stops = (
        f"((v(y)>1)?({stop}*(v(y)-1)+{damp:.6g}*v(s))*{STROKE}:0)"
        f"+((v(y)<0)?({stop}*v(y)+{damp:.6g}*v(s))*{STROKE}:0)"
    )
    moves = 0 if one.seized else 1
    drag, inertia = one.damping * STROKE, one.kilograms * STROKE
    end = BEFORE + one.pulse + AFTER
    return f"""* a pull winding whose plunger moves
vb bat 0 dc {one.volts:.6g}
rs bat sw {one.way_ohms:.6g}
vctl ctl 0 pwl({_command(one)})
s1 sw pin ctl 0 contact
.model contact sw(vt=0.5 vh=0.1 ron=1m roff=1meg)
bcoil pin 0 i=v(cur)
bkick 0 pin i=(v(pin)<-{one.clamp_volts:.6g})?(-{one.clamp_volts:.6g}-v(pin))/0.05:0
rsnub pin 0 2k
bflux 0 phi i=v(pin)-{one.ohms:.6g}*v(cur)
cflux phi 0 1 ic=0
rflux phi 0 1e9
bcur cur 0 v=v(phi)/{henry}
bplace 0 y i=v(s)*{moves}
cplace y 0 1 ic=0
rleaky y 0 1e9
bspeed 0 s i={moves}*({force}-{spring}-{drag:.6g}*v(s)-({stops}))/{inertia:.6g}
cspeed s 0 1 ic=0
rspeed s 0 1e9
.options reltol=1e-4 method=gear
.control
tran {STEP} {end:.6g} 0 {STEP} uic
set wr_singlescale
linearize v(cur) v(pin) v(y)
wrdata {out} v(cur) v(pin) v(y)
quit 0
.endc
.end
"""


def solve(one: Solenoid) -> Truth:
    """Run a machine through ngspice. Raises DeckError."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "out.data"
        ngspice.run(deck(one, str(out)))
        table = np.loadtxt(out)
    seconds, amperes, volts, place = table[:, :4].T
    if amperes.min() < -1 or amperes.max() > 1.2 * one.volts / one.ohms:
        raise ngspice.DeckError("ngspice lost its way where the contact opens")
    there = np.flatnonzero(place >= 0.999)
    seats = float(seconds[there[0]]) - BEFORE if len(there) else None
    return Truth(seconds, amperes, volts, place, seats)


@dataclass(frozen=True)
class Recorder:
    """A cheap recorder: samples a second, hertz of its clamp, and what it gets wrong."""

    rate: float
    hertz: float
    noise: float  # share of the settled current, rms
    offset: float  # A
    hum: float  # A
    hum_hertz: float
    bits: int
    volts: bool  # whether the pin's voltage is recorded beside the current


def draw_recorder(rng: np.random.Generator) -> Recorder:
    """Draw a recorder and its surroundings."""
    rate = float(np.exp(rng.uniform(np.log(1000), np.log(50000))))
    return Recorder(
        rate=rate, hertz=float(np.exp(rng.uniform(np.log(400), np.log(20000)))),
        noise=float(10 ** (-rng.uniform(12, 50) / 20)), offset=rng.normal(0, 0.3),
        hum=rng.choice([0.0, abs(rng.normal(0, 0.4))]), hum_hertz=float(rng.choice([50, 60])),
        bits=int(rng.choice([8, 10, 12])), volts=bool(rng.random() < 0.5),
    )  # fmt: skip


def record(truth: Truth, how: Recorder, rng: np.random.Generator) -> tuple[float, Floats, Floats]:
    """Return (step in s, amperes, volts) as the recorder has them."""
    pole = 1 - np.exp(-2 * np.pi * how.hertz * STEP)
    from scipy.signal import lfilter  # slow to load

    slow = lfilter([pole], [1, pole - 1], truth.amperes)
    at = np.arange(0.0, truth.seconds[-1], 1 / how.rate)
    settled = float(np.percentile(truth.amperes, 90))
    amperes = np.interp(at, truth.seconds, slow) + how.offset
    amperes += how.hum * np.sin(2 * np.pi * how.hum_hertz * at + rng.uniform(0, 6.28))
    amperes += rng.normal(0, how.noise * settled, len(at))
    volts = np.clip(np.interp(at, truth.seconds, truth.volts), -40, 40)
    volts += rng.normal(0, 0.05, len(at))
    return 1 / how.rate, _quantised(amperes, 120, how.bits), _quantised(volts, 80, 12)


def _quantised(values: Floats, span: float, bits: int) -> Floats:
    size = span / 2**bits
    return np.round(values / size) * size
