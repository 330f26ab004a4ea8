"""A broken part's outer boundary completed, and how sure the completed pieces are.

Each parameter of the completed outline is a linear function of the seen features' parameters and, for pieces that were
copied, of a few more errors: whether the part really was symmetric there, as large as the rest is not. So the
covariance follows without approximation beyond the first order, with all that the pieces share with where they came
from. An edge that the break cuts keeps its label and goes on; what was seen of it and its copy are weighed by their
covariance.
"""
