"""The instruments: photo, camera, references, calipers. It never imports `measure`.

For scripts:

load(path)                     a photo file -> `Photo`: upright sRGB pixels (h, w, 3) and what EXIF says of the lens
read_profile(path)             a lens profile's file -> `Profile`
wanted("a4"), wanted("120x80") a reference in words -> `Wanted`
JawlineError                   every refusal, with `text` and `code`: `Untrustworthy`, where photo or readings can't be
                               trusted, or `WrongUsage`, where what was asked for can't be done
"""

from typing import TYPE_CHECKING

from calib.lazy import lazily

__all__ = [
    "Caution",
    "JawlineError",
    "Message",
    "Photo",
    "Profile",
    "Remedy",
    "Untrustworthy",
    "Wanted",
    "WrongUsage",
    "load",
    "read_profile",
    "wanted",
]

if TYPE_CHECKING:
    from calib.errors import JawlineError, Untrustworthy, WrongUsage
    from calib.lens.lens import Profile, read_profile
    from calib.messages import Message, Remedy
    from calib.photo.photo import Photo, load
    from calib.reference.found import Caution
    from calib.reference.wanted import Wanted, wanted
else:
    __getattr__ = lazily(
        "calib",
        {
            **dict.fromkeys(("JawlineError", "Untrustworthy", "WrongUsage"), "calib.errors"),
            **dict.fromkeys(("Profile", "read_profile"), "calib.lens.lens"),
            **dict.fromkeys(("Message", "Remedy"), "calib.messages"),
            **dict.fromkeys(("Photo", "load"), "calib.photo.photo"),
            "Caution": "calib.reference.found",
            **dict.fromkeys(("Wanted", "wanted"), "calib.reference.wanted"),
        },
    )
