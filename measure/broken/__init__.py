"""Broken parts: pieces put together along the break, or what is missing continued and copied.

In: a photo of two pieces (`tracing_fragments`), or the features of a part with a piece missing (`mending`). Out: one
closed outline with its covariance, and in words what each completion rests on.
"""
