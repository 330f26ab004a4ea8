"""The part: silhouette, edges, outline, readings, adjustment, sketch."""
