"""The shared page map.html: one self-contained file that opens from a memory stick without a network."""
