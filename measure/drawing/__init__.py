"""Ways to put a result on paper or screen."""
