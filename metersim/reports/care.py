"""What to do, and what to beware of: all cautions and checklists, common practice, each said once.

Whatever tells somebody to reach into a meter, to dig behind a machine or to turn a fan on ends in
one of these; they defer to the machine's manual and to local rules.
"""

from __future__ import annotations

PROVE = "A prediction for learning and planning: prove it on a bench."
MANUAL = "The machine's manual and local rules come first"
AT_A_METER = (
    "Stop the machine and the fan, and lower or block what is raised, before a hand goes near the "
    f"meter; keep out of treated-seed dust. {MANUAL}."
)
IN_THE_ROW = (
    "Count and dig only behind a machine that stands still, lowered or blocked, with the fan off; "
    f"wear gloves and keep out of treated-seed dust. {MANUAL}."
)
BEFORE = (
    f"{MANUAL}, before anything here.",
    "Stop the machine, let fan and disc come to rest, and lock out, so that nothing can start, "
    "before you open a meter or reach into it. Put a raised frame on stands.",
    "On the bench too: the fan draws in sleeves and hair, disc and drive pinch. Guards stay on.",
    "Treated seed: no bare hands, no dust in the air. Gloves, respirator and disposal as its label "
    "says; vacuum up, never blow; wash before you eat.",
)
CROP_CHANGE = (
    "Locked out. Hopper, meter and tube empty; leftover seed back to its own bag, with its label",
    "Disc off: holes clear, rim and face flat, no crack; clean the chamber without blowing",
    "Disc of this sheet in; singulator made for it, edge not worn, moving freely; set the notch",
    "Brush and seals whole and seated; cut-off edge clean and sharp",
    "Gate set; inner guide as said here; tube clean, not rough inside; sensor lens brushed",
    "Lubricant (talc, graphite or such) as the seed's supplier says, no more",
    "Turn the disc by hand once: nothing rubs",
)
BENCH = (
    "Gauge at the hole, read while the disc carries seed: open holes leak, and read low",
    "Two turns to fill before anything counts",
    "Count as said here: skips, doubles, and where they come from",
    "Change one setting at a time, count again, write both down",
    "Seed in the bag differs from lot to lot: measure it, and count again with each new lot",
    "In the field: dig and measure in the first pass, and again when soil or speed change",
)
