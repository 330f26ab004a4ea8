"""The caution that goes with everything to be printed: said in one place."""

from calib.words import Words

LIGHT_PARTS = Words(
    "A guide for light household parts, printed well; try one before you rely on it. Nothing "
    "that carries people or heavy loads, holds pressure or gas, insulates mains voltage, "
    "stands in heat or a fire's way, brakes or steers: there local codes and licensed trades "
    "come first."
)
