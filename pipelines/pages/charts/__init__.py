"""The charts of the pages as SVG: a scale, axes and marks, and one module per chart. No browser, no script, no library.

A chart takes plain values and returns one ``<svg>`` element with its title and a description in words. Nothing here
reads the warehouse.
"""
