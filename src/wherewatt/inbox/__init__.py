"""The drop folder: what is put into it gets reported, once.

What lies in the folder decides, not what is remembered: the folder is looked at again and again,
and a ride whose result is missing or older than its files is made. Events of the system only say
when to look. So a watch that is killed and started again goes on where it was.

    drops     which rides lie in the folder, and in what state?
    agenda    which of them is due, and when?
    worker    a process that makes one result at a time (job, report_work)
    shelf     results appear whole, or not at all (stamp)
    problems  the note beside a track that cannot be used
    watcher   the loop that joins them (events, teller)
    watch     where it begins and ends (settings, live)
"""
