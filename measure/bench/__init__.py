"""The bench page: the whole job in a browser, served from this machine. It imports measure and calib, never they it."""
