"""Which dimensions a drawing carries, in the part's own frame.

In: features and a gauge that says how large a size is and how sure (`gauging`). Out: `dimensioning.plan_dimensions`;
`frame` lays an outline square, `handedness` says how easily it is taken for its mirror image.
"""
