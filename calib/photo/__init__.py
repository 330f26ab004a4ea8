"""A photo's file becomes upright sRGB pixels and the facts that its EXIF tells.

In: bytes from anybody, judged before anything is decoded. Out: `photo.Photo`, by `photo.load`, or a refusal: a decoder
that complains is believed, and where damage leaves a stream that no decoder can know for damaged, `seam` looks for what
it does to the picture. `same_view` says whether two photos show the very same view.
"""
