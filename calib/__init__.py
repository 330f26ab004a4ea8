"""The instruments: camera, reference card, lens, calipers. Never imports `measure`."""
