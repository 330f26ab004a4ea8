"""Several photos of one part made one trace.

In: photos, or traces of each. Out: `several`, one `Trace` with what the photos have wrong in common counted once.
"""
