"""Any number of rides as one set of tables, which other programs read in place.

The rides of a folder or an object store are dealt out to parts by a hash of their paths. A part is
the unit of work, of files and of memory: whoever makes it reads the rides, analyses those that are
new or changed, and puts whole Parquet files in place. What the tables hold follows from the rides
alone, whoever made them, in whatever order and however often interrupted.

    store      a folder, on this machine or in an object store
    source     which rides lie there, and do they look as before?
    partition  which part does a ride belong to?
    columns    what the tables hold (tables, rows)
    holdings   what is made already, and from what?
    plan       what is left to do?
    part_work  the making of one part (intake, carry, part_files)
    crew       who does it: processes (lanes) or a cluster (cluster)
    run        from beginning to end
    query      questions in SQL (questions)
    pool       what all rides say of one vehicle (vehicle)
"""
