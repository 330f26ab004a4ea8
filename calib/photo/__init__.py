"""A photo's file becomes upright sRGB pixels and the facts that its EXIF tells.

In: bytes from anybody, judged before anything is decoded. Out: `photo.Photo`, by `photo.load`; `same_view` says whether
two photos show the very same view.
"""
