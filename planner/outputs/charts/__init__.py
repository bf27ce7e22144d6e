"""Pictures of a run as SVG: text that any browser and word processor draws, the same bytes every time.

Drawn by hand rather than by a plotting library: a picture is 10 to 60 kB, its words stay words, and no font or version
of a library changes its bytes. Every kind of mark is told by shape or lightness, so that a black-and-white print reads.
"""
