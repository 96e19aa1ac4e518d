"""Shows every address on the track: its last state, how often it is refreshed, and all changes.

First comes a row for each address: its packets, the time from one to the next (median to 3 %, longest), its share of
the track's time, the losses whose first bytes are this address, and its last state. Then come the changes. From a pipe,
a terminal or a serial line, changes are written as they come, and the rows at the end. Ctrl-C ends such a capture.

If a value depends on a decoder's CV 29, both readings are shown, unless --cv29 is given. A CV write is shown once, with
the packet on which decoders act.

With --json each line is an object. Its key event is change or, in the last line, traffic. Times are ns.

Exit status: 0 packets were decoded, 1 no packet was, 2 the input cannot be read or the command line is wrong.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from itertools import groupby
from typing import Any

from ..decoder import Change, Item, Seen, TrackState
from ..inspect.losses import end_of
from ..instruction import Address
from ..plot.traffic import TrafficPlot
from .columns import Columns, milliseconds, terminal_width
from .opening import opened
from .options import CaptureOptions


def add_options(parser: argparse.ArgumentParser, everything: bool) -> None:
    """Add the command's options."""
    options = CaptureOptions(parser, everything)
    group = options.group("what is shown")
    group.add_address()
    group.add_times()
    group.add("--json", action="store_true", help="JSON Lines instead of text")
    group.add_plot("time against address to a file")
    options.add_shared(questions=True)


def run(args: argparse.Namespace) -> int:
    """Follow the traffic and return the exit status."""
    plot = TrafficPlot(args.start)
    track = TrackState()
    width = terminal_width()
    lines = Columns(("time ms", "address", "change"), (-12, 22 if _narrow(width) else 28), width)
    kept: list[Change] = []
    with opened(args) as capture:

        def put(changes: Sequence[Change]) -> None:
            wanted = [change for change in changes if _wanted(args, change)]
            if args.json:
                for change in wanted:
                    print(json.dumps({"event": "change", **change.as_dict()}))
            elif capture.source.live:
                _print_changes(lines, wanted)
            else:
                kept.extend(wanted)

        if capture.source.live and not args.json:
            print(lines.head)
        for event in capture.events():
            if args.end is not None and end_of(event) > args.end:
                break
            changes = track.feed(event)
            plot.add(event, changes, track)
            put(changes)
        put(track.finish())
        if args.json:
            print(json.dumps({"event": "traffic", **_chosen(args, track)}))
        else:
            _print_rows(args, track, width)
            if kept:
                print(f"\n{lines.head}")
                _print_changes(lines, kept)
        if args.plot is not None:
            plot.save(args.plot, track, args.address, title=capture.source.name)
        return capture.status(track.seen, "no packets")


def _narrow(width: int | None) -> bool:
    return width is not None and width < 110


def _print_changes(lines: Columns, changes: Sequence[Change]) -> None:
    """Print a line for each packet's changes to an address."""
    for (time, address), together in groupby(changes, key=lambda change: (change.time, change.address)):
        who = "track" if address is None else str(address)
        print(lines.row((milliseconds(time), who, ", ".join(map(str, together)))))


def _wanted(args: argparse.Namespace, change: Change) -> bool:
    chosen = args.address is None or change.address in args.address or change.item is Item.MODE
    return chosen and change.time >= args.start


def _chosen(args: argparse.Namespace, track: TrackState) -> dict[str, Any]:
    found = track.as_dict()
    if args.address is not None:
        names = [address.as_dict() for address in args.address]
        found["addresses"] = [row for row in found["addresses"] if row["address"] in names]
    return found


def traffic_rows(
    track: TrackState, wanted: Sequence[Address] | None = None
) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """The titles, and a row for each address."""
    titles = ("address", "packets", "every ms", "longest", "share", "losses", "last state")
    rows = [row for row in track.seen.values() if wanted is None or row.address in wanted]
    return titles, [_cells(row, track) for row in sorted(rows, key=lambda row: row.address)]


def _print_rows(args: argparse.Namespace, track: TrackState, width: int | None) -> None:
    titles, cells = traffic_rows(track, args.address)
    numbers = (-7, -8, -9, -6)
    if _narrow(width):  # the state goes below, because there is no room beside it
        lines, below = Columns(titles[:-1], (22, *numbers), width), Columns((), (2,), width)
        print(lines.head)
        for *row, state in cells:
            print(lines.row(row))
            if state:
                print(below.row(("", state)))
    else:
        lines = Columns(titles, (28, *numbers, -6), width)
        print("\n".join([lines.head, *map(lines.row, cells)]))
    duration = milliseconds(track.length)
    print(f"\n{len(cells)} addresses in {duration} ms; {track.losses} losses cannot be assigned to an address")


def _cells(row: Seen, track: TrackState) -> tuple[str, ...]:
    refresh = row.refresh
    return (
        str(row.address),
        str(row.packets),
        "-" if refresh is None else f"{refresh / 1e6:.1f}",
        f"{row.longest / 1e6:.1f}" if row.longest else "-",
        f"{100 * track.share(row.address):.1f} %",
        str(row.losses),
        state_words(row),
    )


def state_words(row: Seen) -> str:
    """The state of an address in words."""
    lamp = "on" if row.lamp is True else "off" if row.lamp is False else row.lamp
    parts = [
        None if row.speed is None else str(row.speed),
        None if row.forward is None else "forward" if row.forward else "reverse",
        None if row.lamp is None else f"FL {lamp}",
        *(f"F{number} on" for number, on in sorted(row.functions.items()) if on),
        None if row.consist is None else f"in consist {row.consist}",
        *(f"output {number} {'on' if on else 'off'}" for number, on in sorted(row.outputs.items())),
        None if row.aspect is None else f"aspect {row.aspect}",
        *(f"binary state {number or 'all'} {'on' if on else 'off'}" for number, on in sorted(row.binary.items())),
        *(f"analog {number} = {value}" for number, value in sorted(row.analog.items())),
        None if row.restriction is None else f"restricted to {row.restriction}",
    ]
    return ", ".join(filter(None, parts))
