"""The store: readings and everything that must survive the daemon, in one SQLite file.

`store.Store` writes, `reader.Records` reads; readings start in the hot table, move into packed
days with roll-ups, and may be mirrored to a time-series store elsewhere.

What is on disk, and when. Each transaction of the writer is appended to the write-ahead log and
fsync'd before it returns (`synchronous=FULL`), so what was kept survives the death of the process
and, as far as the disk tells the truth about fsync, a power cut. About every 32 MB the log is
copied into the file: the log is fsync'd, pages are written, the file is fsync'd, and only then is
the log used again from its beginning; a power cut at any point of this loses nothing. A backup, a
restored file and its folder are fsync'd before they take their final name. What no software can
promise: cheap memory cards and disks with a volatile cache may say "written" before it is.
"""
