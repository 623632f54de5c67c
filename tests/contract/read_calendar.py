"""Reads an iCalendar text from standard input with the package icalendar and writes what it found as JSON.

The tests of the calendar feed call this: what one library writes another one, of another ecosystem, has to read.
"""

import json
import sys
from datetime import timedelta

from icalendar import Calendar, vUnknown


def plain(value):
    """A value as JSON can hold it."""
    if isinstance(value, vUnknown):
        # The library keeps what RFC 5545 does not name as it came. RFC 7986 gives the name of a calendar the type TEXT, so
        # it is read once more as something that has it.
        return str(Calendar.from_ical(f"BEGIN:VCALENDAR\r\nCOMMENT:{value}\r\nEND:VCALENDAR\r\n")["COMMENT"])
    if hasattr(value, "dt"):
        value = value.dt
    if isinstance(value, timedelta):
        return value.total_seconds()
    if hasattr(value, "isoformat"):
        return value.isoformat()
    if hasattr(value, "cats"):
        return [str(one) for one in value.cats]
    if hasattr(value, "latitude"):
        return [value.latitude, value.longitude]
    return value if isinstance(value, int) else str(value)


def facts(component):
    """The properties of a component by name, in small letters, with its alarms and what could not be read."""
    found = {name.lower(): plain(value) for name, value in component.items()}
    found["kinds"] = {name.lower(): value.params.get("VALUE") for name, value in component.items()
                      if hasattr(value, "params") and value.params.get("VALUE")}
    found["alarms"] = [facts(inner) for inner in component.subcomponents]
    found["errors"] = [[str(part) for part in error] for error in component.errors]
    return found


def main():
    text = sys.stdin.buffer.read().decode("utf-8")
    calendar = Calendar.from_ical(text)
    read = facts(calendar)
    del read["alarms"]
    read["events"] = [facts(event) for event in calendar.events]
    read["others"] = [component.name for component in calendar.subcomponents if component.name != "VEVENT"]
    json.dump(read, sys.stdout)


if __name__ == "__main__":
    main()
