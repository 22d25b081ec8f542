"""How patient a watch is."""

from __future__ import annotations

from dataclasses import dataclass, fields


@dataclass(frozen=True, slots=True)
class WatchSettings:
    """How patient a watch is, and how busy. The defaults are common practice, no source.

    Parameters
    ----------
    settle_s : a ride is read when its files have not changed for so long [s].
    patience_s : a ride that cannot be read, or seems cut short, is taken as it is when its files
        have not changed for so long: until then it may be a copy that pauses [s].
    rescan_s : the whole folder is looked at this often even if no event came, since events get
        lost and network folders may give none [s].
    first_retry_s, last_retry_s : wait after a result that could not be written; doubled each time
        up to the second [s].
    jobs : rides in work at once, each in a process.
    rides_per_process : a process is replaced after so many rides, so that none grows for ever.
    events : whether to ask the system for events; without them only rescans tell.
    once : stop when all that is there is done, instead of waiting for more.

    Raises
    ------
    ValueError
        If a number is not above zero.
    """

    settle_s: float = 2.0
    patience_s: float = 10.0
    rescan_s: float = 30.0
    first_retry_s: float = 5.0
    last_retry_s: float = 300.0
    jobs: int = 1
    rides_per_process: int = 200
    events: bool = True
    once: bool = False

    def __post_init__(self) -> None:
        for setting in fields(self):
            value = getattr(self, setting.name)
            if not isinstance(value, bool) and not 0 < value < float("inf"):
                raise ValueError(f"{setting.name} must be above zero")
