"""Where the bench turns printing away: what else to try for a part that a printer serves badly.

All of it is common practice of repair benches, no source, but where a sentence names one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Alternative:
    """What a part is asked to do that a printer serves badly, and what else to try.

    Attributes:
        word: on the command line.
        others: words that mean the same.
        asked: what the part is asked to do.
        why: why a print serves it badly.
        instead: what to try, the easiest first.
        caution: what to mind.
    """

    word: str
    others: tuple[str, ...]
    asked: str
    why: str
    instead: tuple[str, ...]
    caution: str


_TABLE = (
    Alternative(
        "bend",
        ("flexible", "soft", "rubber", "hinge"),
        "it bends or gives in use",
        "Stiff plastics crack along their layers when they are bent again and again.",
        (
            "cut it from sheet rubber, cork or leather: the outline's DXF goes to a knife plotter or a laser",
            "print it in TPU, layers along the bend, walls of three lines, little infill",
            "cast it in silicone in a printed mould",
            "replace a film hinge by two printed halves and a metal pin",
        ),
        "TPU creeps under lasting load: not for what must stay tight.",
    ),
    Alternative(
        "hot",
        ("heat", "oven", "steam", "engine"),
        "it gets hot",
        "PLA goes soft near 55 °C, PETG near 75 °C, ABS and ASA near 95 °C, well before they melt; a car in the sun "
        "reaches 70 °C inside.",
        (
            "look for the spare part by the dimensions of the sketch",
            "have it cut from sheet aluminium or steel, or bend it from sheet",
            "print it in ASA, nylon or polycarbonate for warm places up to about 80 °C, and test it there",
            "have the DXF milled from PEEK or phenolic sheet by a workshop",
        ),
        "Nothing printed next to a flame, a heating element or an exhaust, and nothing that keeps hot parts from mains "
        "wires.",
    ),
    Alternative(
        "food",
        ("kitchen", "drink", "mouth", "dishwasher"),
        "it touches food or the mouth",
        "Grooves between layers hold dirt that no washing reaches, and pigments and brass nozzles are not made for "
        "food.",
        (
            "have it cut from stainless steel, beech or a kitchen cutting board (polyethylene)",
            "look for the spare part: maker's lists go by dimensions too",
            "print it only where it does not touch the food: a handle, a foot, a knob",
        ),
        "A coating does not make a print fit for food for good: it chips. PLA goes out of shape in the dishwasher.",
    ),
    Alternative(
        "load",
        ("heavy", "carry", "carries", "strong", "lever"),
        "it carries a lasting or heavy load",
        "Plastics creep: what holds today hangs tomorrow, and layers part under a pull across them.",
        (
            "have it cut from sheet steel or aluminium, or plywood, by the DXF",
            "print it as a sleeve round a steel bolt, a threaded rod or a flat bar that takes the load",
            "let metal pins into its thin places: `jawline thin` says where and which",
            "print it thick, layers along the pull, six lines of wall, and load it with twice the weight for a week",
        ),
        "Nothing that a person sits, stands or hangs on, and nothing above a head.",
    ),
    Alternative(
        "thin",
        ("small", "tiny", "fine"),
        "it is smaller than a nozzle prints",
        "Walls under two lines (0.84 mm with a 0.4 mm nozzle) and pegs under about 2 mm come out ragged and break.",
        (
            "cut it from sheet brass, steel or plastic with scissors, a fret saw or a laser",
            "replace pegs by wire, nails or pins: print the hole, not the peg",
            "print it with a 0.25 mm nozzle or in resin, and make it thicker where nothing is in its way",
            "file it from solid nylon or acetal",
        ),
        "Resin prints are brittle, and uncured resin is harmful to the skin.",
    ),
    Alternative(
        "thread",
        ("screw", "screws", "threads"),
        "it has a thread under M5",
        "A printed thread under M5 has flanks of one or two lines that strip at the second turn.",
        (
            "print a pocket for a nut, and let the nut in while it prints or from the side",
            "melt in a brass insert: the hole by the insert's list, four lines of wall round it",
            "drill a core hole (diameter less pitch, M4: 3.3 mm) and cut the thread with a tap, for a screw that stays",
            "use a screw for plastics that cuts its own thread, in a hole of about 0.8 of its diameter",
        ),
        "From M5 on print it upright, with a clearance of 0.2 to 0.4 mm, and run a tap through it.",
    ),
    Alternative(
        "spring",
        ("springs", "clip", "snap"),
        "it has to spring back",
        "Printed plastic that stays bent gives up its force within days.",
        (
            "bend it from spring steel wire or strip, and print only what holds it",
            "use a standard coil or leaf spring, a rubber band or a magnet",
            "make the hook longer and thinner, so that it is bent only while it goes in: `jawline clip` works it out",
            "print it in nylon, PETG or polypropylene, never PLA, layers along the beam",
        ),
        "Loaded springs fly: goggles on.",
    ),
    Alternative(
        "seal",
        ("sealing", "gasket", "tight", "water"),
        "it seals against water or air",
        "Prints leak between their lines, and stiff plastic does not follow a surface.",
        (
            "cut the gasket from sheet rubber, cork or gasket paper by the outline's DXF",
            "print a groove and lay an O-ring or round cord in it (squeezed by a fifth)",
            "print the part, and seal it with a bead of silicone",
        ),
        "Only drips and dust: no gas, no pressure, no fuel, no drinking water mains.",
    ),
)
ADVICE: Mapping[str, Alternative] = MappingProxyType({a.word: a for a in _TABLE})


def advice_for(words: Sequence[str]) -> tuple[list[Alternative], list[str]]:
    """Advice by its words, each once, in the order asked; and the words that mean nothing here."""
    named = {w: a for a in _TABLE for w in (a.word, *a.others)}
    asked = [w.strip().lower().lstrip("-") for w in words]
    found = list(dict.fromkeys(named[w].word for w in asked if w in named))
    return [ADVICE[w] for w in found], [w for w in asked if w not in named]


def lines(asked: Sequence[Alternative]) -> tuple[str, ...]:
    """For people."""
    out = []
    for a in asked:
        out.append(f"{a.word}: {a.asked}. {a.why}")
        out += [f"  - {x}" for x in a.instead]
        out.append(f"  Mind: {a.caution}")
    return tuple(out)


def topics() -> tuple[str, ...]:
    """For people who have not said what the part is asked to do."""
    out = [f"  {a.word:<8}{a.asked}" for a in _TABLE]
    return ("What is the part asked to do? Say one or several, such as `jawline advice hot thread`:", *out)
