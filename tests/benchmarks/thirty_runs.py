"""A case of thirty runs and five results; all numbers invented."""

from __future__ import annotations

import random

HEAD = """\
effband: 1
title: Thirty runs of an air motor
instruments:
  gauge: {reads: gauge pressure, accuracy: 2.5 % of span, span: [0 bar, 16 bar], division: 0.5 bar}
  clamp: {accuracy: 2 % of reading + 5 digits, span: [0 A, 40 A], digit: 0.01 A}
  meter: {accuracy: 0.5 % of reading + 2 digits, span: [0 V, 20 V], digit: 0.01 V}
inputs:
  volume: {value: 90 L, plus_minus: 2 L, evidence: nameplate}
  barometer: {value: 985 hPa, plus_minus: 5 hPa, reads: absolute pressure, evidence: measured}
  inertia: {value: 0.0085 kg*m^2, plus_minus: 0.001 kg*m^2, evidence: measured}
  alternator: {low: 45 %, likely: 54 %, high: 62 %, evidence: rule of thumb}
  refill: {value: 0.12 kWh, plus_minus: 0.005 kWh, evidence: measured}
formulas:
  p1: absolute(p_start, barometer)
  p2: absolute(p_end, barometer)
  air: receiver_exergy(p1, volume, barometer) - receiver_exergy(p2, volume, barometer)
  wire: voltage * current * time
  shaft: wire / alternator + kinetic_energy(inertia, speed)
results:
  air_to_wire: {formula: wire / air, unit: "%", boundary: {in: air, out: electricity}}
  air_to_shaft: {formula: shaft / air, unit: "%", boundary: {in: air, out: shaft work}}
  wall_to_wire: {formula: wire / refill, unit: "%", boundary: {in: plug, out: electricity}}
  wall_to_air: {formula: air / refill, unit: "%", boundary: {in: plug, out: air}}
  electricity: {formula: wire, unit: kJ}
claims:
  - {result: air_to_wire, says: at least 5 %}
runs:
  readings:
    p_start: {unit: bar, instrument: gauge, gas: settled}
    p_end: {unit: bar, instrument: gauge, gas: settled}
    time: {unit: s, plus_minus: 1 s}
    voltage: {unit: V, instrument: meter}
    current: {unit: A, instrument: clamp}
    speed: {unit: rpm, plus_minus: 15 rpm}
  rows:
"""


def thirty_runs() -> str:
    """Return the text of the case, the same one every time."""
    rng = random.Random(20260521)
    rows = []
    for k in range(30):
        near = [9 + rng.uniform(-0.2, 0.2), 3 + rng.uniform(-0.2, 0.2), 75 + rng.uniform(-5, 5)]
        rows.append(
            f"    run_{k}: {{p_start: {near[0]:.2f}, p_end: {near[1]:.2f}, time: {near[2]:.1f}, "
            f"voltage: {13.6 + rng.uniform(-0.1, 0.1):.2f}, "
            f"current: {7.9 + rng.uniform(-0.5, 0.5):.2f}, speed: {2600 + rng.randint(-50, 50)}}}"
        )
    return HEAD + "\n".join(rows) + "\n"
