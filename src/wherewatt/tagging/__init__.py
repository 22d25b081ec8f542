"""A page on this machine to tag the surfaces of a ride, drawn over its profile and its course.

The files decide, not the page: they are read when the page asks, written only if they are still as
the page saw them, and a report is made of what lies on disk.

    course    what the page draws: the ride and its profile
    edits     what a person does to tags, as pure functions
    rows      the text of ride.surface.csv with other tags in it
    lines     the text of places.geojson with one more place in it
    files     versions of files, and writing them whole
    store     both files of a ride: load, save, refuse if changed meanwhile
    view      all of it as plain values for the page
    messages  what the page sends, checked
    access    who may talk to the server
    server    the addresses it answers at (static/: the page itself)
    report_again  the report, made anew on request
    serve     where it begins and ends
"""
