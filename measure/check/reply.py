"""A short friendly answer to whoever sent a photo: thanks, what to do better, at most four sentences."""

from __future__ import annotations

from collections.abc import Sequence

from calib.words import Words, joined
from measure.check.rules import Finding, verdict

MOST_ADVICE = 2
"""More than two things at once nobody remembers."""

SEND_ANEW = Words("Please send the photo once more as your phone wrote it, as a file or at full size.")
PLAIN_GROUND = Words(
    "Please lay part and card on plain paper whose colour differs from both, without anything else in the picture."
)
CARD_TOO = Words(
    "Please lay a bank-size card (a library or loyalty card will do) flat beside the part, "
    "blank side up and wholly in the picture."
)
SOFT_LIGHT = Words("Please take it in soft light, by a window or under a cloudy sky, so that no hard shadow falls.")
LESS_LIGHT = Words(
    "Please tap on the brightest spot so that the camera takes the photo darker, or keep out of the sun."
)

ADVICE: dict[str, str] = {
    # the file, which is at fault rather than the photo
    "photo-empty": SEND_ANEW,
    "photo-damaged": SEND_ANEW,
    "photo-truncated": SEND_ANEW,
    "photo-too-small": SEND_ANEW,
    "photo-too-large": Words("Please take the photo in the camera's normal mode."),
    "photo-panorama": Words("Please take one ordinary photo, no panorama, and send it uncut."),
    "photo-animated": Words("Please send one ordinary photo, no film and no moving picture."),
    "photo-format": Words("Please send the photo as JPEG or HEIC, as phones write it."),
    "unexpected": Words("Please take another one, from a little farther to one side."),
    "not-a-photo": Words("Please send an ordinary photo, as your phone's camera takes it."),
    # the card
    "no-card": CARD_TOO,
    "look-alike": CARD_TOO,
    "wrong-shape": CARD_TOO,
    "square-corners": CARD_TOO,
    "corners": CARD_TOO,
    "cut-off": Words("Please step back a little so that the whole card is in the picture, with some table all round."),
    "bent": Words("Please take a card that lies quite flat."),
    "two-cards": Words("Please leave only one card beside the part."),
    "unclear": PLAIN_GROUND,
    "faint-card": Words("A ground whose colour differs from the card's lets its edges show."),
    "too-small": Words("Please go nearer, until part and card fill a good half of the picture."),
    # the part
    "no-part": PLAIN_GROUND,
    "several-parts": Words("Please clear everything from the table but the card and the part."),
    "part-touches-card": Words("Please leave a finger's width between part and card."),
    "part-at-edge": Words(
        "Please step back a little so that the whole part is in the picture, with some table all round."
    ),
    "near-edge": Words("Please move the part nearer to the middle of the picture."),
    "off-centre": Words("Please have part and card near the middle of the picture."),
    "faint-edge": Words(
        "Plain paper whose colour differs from the part's, white under dark and dark under pale, shows its edge best."
    ),
    "too-thick": Words(
        "Please step back and zoom to twice instead: the part is thick, and from farther away its walls hide less."
    ),
    # light and camera
    "blurred": Words(
        "Please wipe the lens, tap on the part to focus, and hold the phone still, best with both elbows on the table."
    ),
    "too-dark": Words("Please take it by a window or switch on more light, without flash."),
    "too-bright": LESS_LIGHT,
    "glare-card": Words("Please turn the card or yourself until no lamp is mirrored in it, and leave the flash off."),
    "glare-part": Words("Please turn the part or yourself until no lamp is mirrored in it, and leave the flash off."),
    "shadow": SOFT_LIGHT,
    "too-slanted": Words("Please hold the phone straight above the part, looking right down."),
    "too-oblique": Words("Please hold the phone straight above the part, looking right down."),
    "too-far": Words(
        "Please go nearer until part and card fill a good half of the picture, and send the photo at full size."
    ),
    "too-near": Words("Please step back to an arm's length and zoom to twice instead."),
    # what a trace remarks or refuses
    "overexposed": LESS_LIGHT,
    "bright-card": LESS_LIGHT,
    "sides-disagree": SOFT_LIGHT,
    "no-outline": PLAIN_GROUND,
    "unsure-edge": SOFT_LIGHT,
    "wall-or-shadow": SOFT_LIGHT,
    "wall-contradicts": SOFT_LIGHT,
    "spike": SOFT_LIGHT,
    "half-seen-hole": SOFT_LIGHT,
    "unsure-size": SEND_ANEW,
    "inexact": Words(
        "A photo straight from above, with card and part close together and filling half of "
        "it, would let us measure more exactly."
    ),
}
"""What the owner can do about each finding, as one sentence."""
SHEET_TOO = Words(
    "Please lay the part on the flat sheet, or beside it, with all four of its corners in the picture and nothing over "
    "its edges."
)
OTHER_GROUND = Words(
    "Please lay the part on a ground whose colour differs from its own, without anything else in the picture."
)
NEARER = Words("Please go nearer until the part fills a good half of the picture, and send the photo at full size.")
SHEET_ADVICE: dict[str, str] = {
    "no-sheet": SHEET_TOO,
    "unsolved": SHEET_TOO,
    "wrong-shape": SHEET_TOO,
    "square-corners": SHEET_TOO,
    "corners": SHEET_TOO,
    "cut-off": Words("Please step back a little so that the whole sheet is in the picture, with some table all round."),
    "curled": Words("Please press the sheet flat before you take the photo."),
    "two-sheets": Words("Please leave only one such sheet in the picture."),
    "unclear": Words("Please lay the sheet on a ground of another colour, with nothing over its edges."),
    "too-small": NEARER,
    "too-far": NEARER,
    "no-part": OTHER_GROUND,
    "no-outline": OTHER_GROUND,
    "several-parts": Words("Please leave nothing but the part and the sheet in the picture."),
    "part-touches-card": Words("Please leave a finger's width between the part and the sheet's edge."),
    "off-centre": Words("Please have the part near the middle of the picture."),
    "inexact": Words(
        "A photo straight from above, with the part near the sheet's middle, would let us measure better."
    ),
}
"""The same where no card but a sheet gives the scale, as far as it differs."""
UNOPENED = ("photo-empty", "photo-damaged", "photo-truncated", "photo-format", "not-a-photo")

OURS = ("no-file", "not-a-file", "no-permission")
"""What is wrong on this side: a file that can't be read here. There is nothing to ask its owner for."""

HIDE_NUMBER = Words(
    "One more thing: your card's number can be read, so please turn the card over, or use "
    "a library card: we need only its size."
)
THANKS_ALL_THE_SAME = Words("Thank you for writing; sadly no photo reached us that we can open.")
"""Where the file is at fault."""
THANKS = {
    "good": Words("Thank you for the photo, it is just right: we can measure your part from it."),
    "usable": Words("Thank you for the photo, we can work with it."),
    "retake": Words("Thank you for the photo; sadly we can't measure from this one, could you take it again?"),
}
BRING = Words("Please bring the part to the event all the same, we check two or three sizes with a caliper.")
BETTER = Words("If it is little trouble, a second one would serve us even better.")


def advice_on(finding: Finding, *, by_card: bool = True) -> str:
    """What the owner can do about a finding; the finding itself where there is nothing better to say.

    Args:
        finding: what was found.
        by_card: whether a card gives the scale, or a sheet.
    """
    table = ADVICE if by_card else ADVICE | SHEET_ADVICE
    return table.get(finding.code, finding.text)


def reply(findings: Sequence[Finding], *, by_card: bool = True) -> str:
    """Two to four sentences that can be pasted into a message; none where its owner can do nothing about it.

    Args:
        findings: of the photo, gravest first.
        by_card: whether a card gives the scale, or a sheet.
    """
    if any(f.code in OURS for f in findings):
        return ""
    result = verdict(tuple(findings))
    told = [f for f in findings if f.level == ("retake" if result == "retake" else "usable")]
    advice = list(dict.fromkeys(advice_on(f, by_card=by_card) for f in told))
    number = any(f.code == "card-digits" for f in findings)
    unopened = any(f.code in UNOPENED for f in findings)
    sentences: list[str] = [THANKS_ALL_THE_SAME if unopened else THANKS[result]]
    if result == "usable":
        sentences.append(BETTER)
    sentences += advice[: MOST_ADVICE - (result == "usable" and number)]
    if number:
        sentences.append(HIDE_NUMBER)
    elif result == "good":
        sentences.append(BRING)
    return joined(" ", sentences)
