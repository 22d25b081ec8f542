"""Reading FIT activities.

A file is read at once where that can be done, else message by message (`fit_stepwise`). Both give
the same of a whole file; of a damaged one the fast way may keep more, since it goes on where only
values make no sense. `fit_contents` says how times are understood.
"""

from __future__ import annotations

import struct
from dataclasses import replace
from pathlib import Path

from wherewatt.ingest.fit_contents import Contents, End, without_system_times
from wherewatt.ingest.fit_gather import read_at_once
from wherewatt.ingest.fit_profile import COURSE_FILE, FILE_TYPES
from wherewatt.ingest.points import make_track
from wherewatt.ingest.source import (
    DEFAULT_LIMITS,
    Format,
    Limits,
    Source,
    read_as,
    refuse,
)
from wherewatt.ingest.track import Note, Track

EXPECTED = "an activity with records"

_CHECKSUM_BYTES = 2
_END_NOTES = {
    End.CUT_SHORT: ("file-cut-short", "the file breaks off after byte {}"),
    End.TRAILING_BYTES: ("trailing-bytes", "what follows byte {} is no FIT data"),
    End.DAMAGED: ("file-damaged", "the file cannot be read beyond byte {}"),
}


def read_fit(path: Path | str, *, limits: Limits = DEFAULT_LIMITS) -> Track:
    """Read the records of all activities that are chained in a FIT file, in order.

    What can be read of a damaged file is kept, and the damage noted. Records without a
    position stay, with NaN.

    Parameters
    ----------
    path : a .fit or .fit.gz file.
    limits : what is refused as absurd.

    Raises
    ------
    TrackError
        If the file cannot be read, is no FIT, holds no records, or more than the limits allow.
    """
    return parse_fit(read_as(Path(path), Format.FIT, f"a FIT file: {EXPECTED}", limits))


def parse_fit(source: Source) -> Track:
    """Read a FIT file that is in memory; see `read_fit`.

    Raises
    ------
    TrackError
        If it holds no records, or more than the limits allow.
    """
    source, was_open = _closed(source)
    contents = read_contents(source)
    if len(contents.points) == 0:
        _refuse_empty(source, contents)
    notes = _notes(contents)
    if was_open:
        notes.append(
            Note("file-not-closed", "the header gives no data size: the recording was never ended")
        )
    contents, time_notes = without_system_times(contents)
    return make_track(source, contents.points, [*notes, *time_notes], contents.marks)


def read_contents(source: Source) -> Contents:
    """Read what a FIT file holds, in the faster way that can read it.

    Raises
    ------
    TrackError
        If it holds more than the limits allow.
    """
    if (contents := read_at_once(source)) is not None:
        return contents
    # imported here: few files need fitdecode, and it takes a while to load
    from wherewatt.ingest.fit_stepwise import read_stepwise

    return read_stepwise(source)


def _closed(source: Source) -> tuple[Source, bool]:
    """Give a file whose recording was never ended the data size that it has.

    Devices write the size into the header at the end of the recording; until then it is zero.
    """
    data = source.data
    header_bytes, data_bytes = data[0], struct.unpack_from("<I", data, 4)[0]
    present_bytes = len(data) - header_bytes
    if data_bytes != 0 or present_bytes <= _CHECKSUM_BYTES:
        return source, False
    closed = data[:4] + struct.pack("<I", present_bytes) + data[8:]
    return replace(source, data=closed), True


def _notes(contents: Contents) -> list[Note]:
    """Say what was odd about the file itself."""
    notes = []
    condition = contents.condition
    if condition.checksums_wrong:
        message = f"{condition.checksums_wrong} of {condition.parts} checksums do not match"
        notes.append(Note("checksum-wrong", message))
    if condition.end is not End.WHOLE:
        code, text = _END_NOTES[condition.end]
        message = f"{text.format(condition.end_byte)}: {len(contents.points)} records saved"
        notes.append(Note(code, message))
    if contents.kinds == (COURSE_FILE,):
        message = "the file calls itself a course: its times may be planned, not ridden"
        notes.append(Note("planned-course", message))
    if contents.developer_fields_left_out:
        message = f"{contents.developer_fields_left_out} further developers' fields are left out"
        notes.append(Note("developer-fields-left-out", message))
    return notes


def _refuse_empty(source: Source, contents: Contents) -> None:
    """End the reading of a file without records, by saying what it is."""
    condition, place = contents.condition, ""
    if condition.end is not End.WHOLE:
        found = "FIT data that are damaged or end there, before any record"
        place = f"byte {condition.end_byte}"
    elif contents.kinds:
        found = f"a FIT file of type {' and '.join(map(_kind, contents.kinds))} without records"
    else:
        found = "a FIT file without records"
    refuse(source.path, found, EXPECTED, place=place)


def _kind(number: int | None) -> str:
    return "unknown" if number is None else FILE_TYPES.get(number, str(number))
