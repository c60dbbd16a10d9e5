"""The codes of RS274/NGC by modal group, and those that a proven program may not hold.

Source: NISTIR 6556 (Kramer, Proctor, Messina 2000), Table 4. G codes are in tenths.
"""

from __future__ import annotations

G_GROUP = {
    **dict.fromkeys((0, 10, 20, 30, 382, *range(800, 900, 10)), "motion"),
    **dict.fromkeys((170, 180, 190), "plane"),
    **dict.fromkeys((900, 910), "distance"),
    **dict.fromkeys((930, 940), "feed mode"),
    **dict.fromkeys((200, 210), "units"),
    **dict.fromkeys((400, 410, 420), "cutter compensation"),
    **dict.fromkeys((430, 490), "length offset"),
    **dict.fromkeys((980, 990), "return"),
    **dict.fromkeys((540, 550, 560, 570, 580, 590, 591, 592, 593), "coordinates"),
    **dict.fromkeys((610, 611, 640), "path"),
    **dict.fromkeys((40, 100, 280, 300, 530, 920, 921, 922, 923), "one-shot"),
}
M_GROUP = {
    **dict.fromkeys((0, 1, 2, 30, 60), "stop"),
    6: "tool",
    **dict.fromkeys((3, 4, 5), "spindle"),
    **dict.fromkeys((7, 8, 9), "coolant"),
    **dict.fromkeys((48, 49), "overrides"),
}
# In the standard, but refused: what they do cannot be proven here
G_REFUSED = {
    382: "probing",
    410: "cutter compensation",
    420: "cutter compensation",
    930: "inverse time feed",
    980: "a canned cycle's return",
    990: "a canned cycle's return",
    611: "exact stop",
    100: "setting a coordinate system",
    280: "going home",
    300: "going home",
    **dict.fromkeys(range(810, 900, 10), "a canned cycle"),
    **dict.fromkeys((550, 560, 570, 580, 590, 591, 592, 593), "another coordinate system"),
    **dict.fromkeys((920, 921, 922, 923), "shifting the zero"),
}
MACHINE = 530
"""G53: the axis words of its line are machine coordinates (NISTIR 6556 §3.5.12)."""
M_REFUSED = {1: "an optional stop", 60: "a pallet change", 48: "overrides", 49: "overrides"}
USES = {"I": "arc", "J": "arc", "K": "arc", "R": "arc", "P": "wait", "H": "length offset"}
