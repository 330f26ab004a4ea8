"""A broken boundary drawn by hand, in words that the page and the command line share.

In: words such as ``on 12; arc 5 to 30,12; on to E3``, or a touch on the photo (`pointing`). Out: `drawing.drawn`, the
outline with what was drawn in place of the break, all of it marked as completed; `leaving.left_open`, where the break
stays.
"""
