"""The bench page: the whole job in a browser, served from this machine. Imports measure and calib, never the reverse."""
