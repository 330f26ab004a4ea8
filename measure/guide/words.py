"""What the page says. Short words, one thing to do a step."""

from __future__ import annotations

from dataclasses import dataclass

from calib.languages import said_in
from calib.words import Words

TITLE = Words("A photo that we can measure from")
LEAD = Words(
    "A broken part to be made anew? Send us a photo before you come. With a bank-size card "
    "beside it we can measure the part from the picture, and the evening is left for the "
    "repair."
)


@dataclass(frozen=True, slots=True)
class GuideStep:
    """One thing to do.

    Attributes:
        picture: name of its picture, see `measure.guide.pictures`.
        head: in a few words.
        text: in one or two sentences.
        shows: what the picture shows, for those who can't see it.
    """

    picture: str
    head: str
    text: str
    shows: str


STEPS: tuple[GuideStep, ...] = (
    GuideStep(
        "beside",
        Words("Card beside part"),
        Words(
            "Lay the part flat on a table and a card flat beside it, a finger’s width away. "
            "Nothing lies on the card, and the card not on the part."
        ),
        Words("Seen from above: a part with two holes and a card side by side on a sheet of paper."),
    ),
    GuideStep(
        "blank",
        Words("Blank side up"),
        Words("Turn the card over so that no number shows, or use a library or loyalty card: we need only its size."),
        Words("A card with a number, crossed out; turned over to its back, ticked."),
    ),
    GuideStep(
        "ground",
        Words("Plain paper"),
        Words(
            "Choose paper whose colour differs from both: white under a dark part, dark under a "
            "pale one. Clear away everything else."
        ),
        Words("A dark part on white paper and a pale part on dark paper."),
    ),
    GuideStep(
        "above",
        Words("Straight above"),
        Words("Hold the phone level over the part, looking right down, not from the side."),
        Words(
            "Seen from the side: a phone level above the table, ticked; a phone that looks from the side, crossed out."
        ),
    ),
    GuideStep(
        "back",
        Words("Back, then zoom"),
        Words(
            "Hold the phone twice as high and zoom to 2×. Part and card fill half of the picture, "
            "with some table all round."
        ),
        Words("A phone close to the part, crossed out; a phone twice as high with its zoom at two times, ticked."),
    ),
    GuideStep(
        "light",
        Words("Soft light"),
        Words(
            "By a window, no flash, no sun: no hard shadow, no lamp mirrored in card or part. Tap "
            "on the part, hold still."
        ),
        Words("A window with daylight, ticked; a flash, crossed out."),
    ),
    GuideStep(
        "other",
        Words("Other face too"),
        Words(
            "Turn the part over like a page, so that the same side stays up, and take a second photo in the same way."
        ),
        Words("A part and the same part turned over sideways, an arrow on both pointing up."),
    ),
    GuideStep(
        "send",
        Words("At full size"),
        Words("Mail the photo as your phone took it, uncut. Messengers make pictures small: there, send it as a file."),
        Words("A large picture, ticked; a tiny picture, crossed out."),
    ),
)

BOXES: tuple[tuple[str, str], ...] = (
    (
        Words("Which card?"),
        Words(
            "Any card of bank size, 85.6 × 54 mm with round corners: bank, library, loyalty or "
            "travel card. Not a business card, not a playing card. It should be flat and whole."
        ),
    ),
    (
        Words("What happens with the photo"),
        Words(
            "A program finds card and part and draws the part to scale, on our own computer; "
            "nothing is sent anywhere. In every picture that it makes the card is blurred beyond "
            "recognition, and place, owner’s name and camera’s number are left out."
        ),
    ),
    (
        Words("Bring the part"),
        Words("We check two or three sizes with a caliper: that makes the drawing exact. Bring broken pieces as well."),
    ),
)


@dataclass(frozen=True, slots=True)
class GuidePage:
    """The whole page in one language.

    Attributes:
        title, lead: what stands on top.
        steps: in their order.
        boxes: head and text of each.
    """

    title: str
    lead: str
    steps: tuple[GuideStep, ...]
    boxes: tuple[tuple[str, str], ...]


def page_in(language: str) -> GuidePage:
    """The page in a language, by its code."""

    def say(text: str) -> str:
        return said_in(language, text)

    steps = tuple(GuideStep(s.picture, say(s.head), say(s.text), say(s.shows)) for s in STEPS)
    return GuidePage(say(TITLE), say(LEAD), steps, tuple((say(h), say(t)) for h, t in BOXES))
