"""Rides in a notebook: frames, plain values and a picture of them where a cell ends.

    given      what a caller puts beside a track: files, tables, mappings
    reading    a recording, cleaned
    reporting  where its energy went
    archive    the tables of an archive
    drawing    the pictures, as numbers
    fragments  all of it as HTML

Nothing is analysed here: it is what the report verb does, through the same functions.
"""
