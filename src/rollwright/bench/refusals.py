"""Why the log refuses: one exception per reason, each with its mend, as in `rollwright.errors`."""

from __future__ import annotations

from rollwright.errors import FileUnreadable, InputError

__all__ = ["EntryRefused", "EntryUnreadable", "LogBusy", "LogDamaged", "NewerEntry", "NewerLog", "NotALog"]


class EntryUnreadable(InputError):
    """The written form of an entry is not one that rollwright writes."""


class NewerEntry(EntryUnreadable):
    """An entry is of a kind or a version that only a newer program knows."""


class EntryRefused(InputError):
    """An entry is sound in itself and does not fit the log: a used id, an unknown car, a wrong withdrawal."""


class LogBusy(InputError):
    """Another program kept the log locked for longer than we wait; nothing was recorded."""


class NotALog(FileUnreadable):
    """The file is something else than a log, and stays as it is."""


class NewerLog(FileUnreadable):
    """The log was last written by a program whose schema is newer than ours, and stays as it is."""


class LogDamaged(FileUnreadable):
    """The log is cut short, altered or unreadable in places, and stays as it is."""
