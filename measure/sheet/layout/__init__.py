"""Where the dimensions, leaders and labels of a drawing go, so that nothing overlaps."""
