"""Light across an edge: where the step is, how blurred, and whether the light was good.

In: pixels in linear light. Out: `profile.Light` and the steps in it, `path.smoothest`, the blur (`sharpness`), glare
and clipping (`exposure`).
"""
