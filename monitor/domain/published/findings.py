"""The trade's list of what a problem hatch shows: a finding of an egg is chosen from it, never written freely.

The wording is ours; the list follows the trouble-shooting tables of extension services and hatchery guides. `source` names
one of them for each line: "seen" means that the line stood in text that could be read, "from memory" that it was recalled.

BURNHAM-83   W. Burnham. Artificial incubation of falcon eggs. J. Wildl. Manage. 47:158-168, 1983
HARI         M. Hagen. Artificial incubation applied to small numbers of altricial bird eggs
MEIR-08      Meir, Ar. Changes in eggshell conductance, water loss and hatchability of layer hens. Br. Poult. Sci., 2008
MSU-HMG      T. W. Smith. Hatchery Management Guide for Game Bird and Small Poultry Flock Owners. Mississippi State University
MSU-IIF      Important Incubation Factors. Mississippi State University Extension
MSU-TS       Trouble Shooting Failures with Egg Incubation. Mississippi State University Extension
NE-4H        When Chicks Don't Hatch. University of Nebraska-Lincoln
PSU-TS       Trouble Shooting, 4-H embryology. Pennsylvania State University Extension
UCD-8127     Ernst and others. Common Incubation Problems: Causes and Remedies. University of California ANR 8127, 2004
UF-CIR1112   H. R. Wilson. Hatchability Problem Analysis. Circular 1112, University of Florida IFAS, 2004
UIUC-TS      Incubation and Embryology, Incubation Troubleshooting. University of Illinois Extension
WILDPRO      Humidity, incorrect, in incubation. Wildlife Information Network
"""

from __future__ import annotations

from typing import NamedTuple

CANDLING, BREAK_OUT, HATCHER, AFTER = "candling", "break-out", "hatcher", "after hatch"


class Finding(NamedTuple):
    """id: what people type and the record keeps. seen_at: where such a thing is seen."""

    id: str
    words: str
    seen_at: tuple[str, ...]
    source: str


FINDINGS = (
    Finding("clear", "clear egg, no development", (CANDLING, BREAK_OUT), "MSU-TS, seen"),
    Finding(
        "fertile-undeveloped",
        "fertile, no or almost no development (death at about the time of lay included)",
        (BREAK_OUT,),
        "UF-CIR1112, seen",
    ),
    Finding("blood-ring", "blood ring, death in days 2 to 4", (CANDLING, BREAK_OUT), "HARI, seen"),
    Finding("dead-first-third", "dead in the first third", (BREAK_OUT,), "UF-CIR1112, from memory"),
    Finding("dead-middle-third", "dead in the middle third (chicken: days 6 to 16)", (BREAK_OUT,), "PSU-TS, seen"),
    Finding("dead-unpipped", "fully developed, dead without pipping", (BREAK_OUT,), "MSU-TS, seen"),
    Finding("dead-internal-pip", "beak in the air cell, not pipped (internal pip only)", (BREAK_OUT,), "WILDPRO, seen"),
    Finding("pipped-dead", "pipped but dead", (HATCHER,), "MSU-TS, from memory"),
    Finding("shrink-wrapped", "partly pipped, shell stuck, dry membrane (shrink-wrapped)", (HATCHER,), "PSU-TS, seen"),
    Finding("sticky-chick", "sticky chick, smeared with egg contents", (HATCHER,), "WILDPRO, seen"),
    Finding("wet-chick", "wet chick, excess fluid, soft or oedematous", (HATCHER,), "WILDPRO, seen"),
    Finding("large-navel", "large navel, yolk not taken in", (HATCHER,), "HARI, seen"),
    Finding("rough-navel", "rough or string navel", (HATCHER,), "MSU-HMG, seen"),
    Finding("early-hatch", "early hatch", (HATCHER,), "MSU-IIF, seen"),
    Finding("early-bloody-navels", "early hatch with bloody navels", (HATCHER,), "UIUC-TS, from memory"),
    Finding("late-hatch", "late hatch", (HATCHER,), "MSU-IIF, seen"),
    Finding("drawn-out-hatch", "drawn-out hatch", (HATCHER,), "UIUC-TS, seen"),
    Finding("malposition", "malposition", (BREAK_OUT,), "PSU-TS, seen"),
    Finding("malformed", "malformed, missing eye, crossed beak", (BREAK_OUT, HATCHER), "BURNHAM-83, seen"),
    Finding("weak-legs", "crippled, spraddled, weak legs", (HATCHER,), "MSU-HMG, seen"),
    Finding("short-down", "short, clubbed or wiry down", (HATCHER,), "MSU-HMG, seen"),
    Finding("small-chick", "small chick", (HATCHER,), "MSU-HMG, seen"),
    Finding("large-soft-chick", "large, soft-bodied, weak chick", (HATCHER,), "MSU-HMG, seen"),
    Finding("weak-chick", "weak chick", (HATCHER,), "UIUC-TS, seen"),
    Finding("gasping-chick", "gasping chick", (HATCHER,), "UIUC-TS, from memory"),
    Finding("mushy-chick", "mushy chick, bad smell, dead on the tray", (HATCHER,), "UIUC-TS, from memory"),
    Finding("small-air-cell", "small air cell at candling or break-out", (CANDLING, BREAK_OUT), "WILDPRO, seen"),
    Finding("large-air-cell", "large air cell at candling or break-out", (CANDLING, BREAK_OUT), "MEIR-08, seen"),
    Finding("albumen-left", "albumen left over, not used", (BREAK_OUT,), "UF-CIR1112, from memory"),
    Finding("rotten", "rotten or exploding egg", (CANDLING, BREAK_OUT), "UF-CIR1112, from memory"),
    Finding("dehydrated-chick", "chick dehydrated after hatching", (HATCHER,), "UCD-8127, from memory"),
    Finding("unexplained", "ordinary hatch with a few unexplained deaths", (BREAK_OUT,), "NE-4H, seen"),
    Finding("runt", "runt seen at 3 to 4 weeks", (AFTER,), "UIUC-TS, seen"),
)
FINDING = {finding.id: finding for finding in FINDINGS}

# Deaths, deformities and hatch times: of these the heat and the cold of each third of the term are asked, whatever any source names.
ASKED_OF_HEAT = frozenset({
    "fertile-undeveloped", "blood-ring", "dead-first-third", "dead-middle-third", "dead-unpipped", "dead-internal-pip", "pipped-dead",
    "shrink-wrapped", "mushy-chick", "unexplained", "malposition", "malformed", "weak-legs", "short-down", "early-hatch",
    "early-bloody-navels", "late-hatch", "drawn-out-hatch",
})  # fmt: skip
