"""Published and generic results of the engine: arrays in, arrays out; no table, no file."""
