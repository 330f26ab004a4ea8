"""Lens profiles: made from photos of the printed sheet, kept, and found again for a photo.

In: sightings of the sheet (`calibration`). Out: `lens.Profile`; `prior` tells what it says of one photo's camera,
`store` where profiles are kept.
"""
