"""Errors of the desk.

DeskError
├── DataFolderBusyError   another desk process has the folder
├── SchemaTooNewError     the store was written by a newer version
├── UnknownStationError   a station that was never added
├── StationNameError      a name that cannot name a station
├── NotStoredYetError     an event cites readings above the watermark
├── RegisterFileError     an instrument file that cannot be taken as it is
├── InstrumentRefusedError  an instrument on which nothing may rest
├── MarkError             a mark on an instrument that cannot be set
└── BrokerStartError      the embedded broker does not come up
"""


class DeskError(Exception):
    """Anything the desk refuses, in words for the person in front of it."""
