"""``halfbit traffic``: shows the addresses on the track and their changes."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from itertools import groupby
from typing import Any

from ..decoder import Change, Item, Seen, TrackState
from ..instruction import Address
from .addresses import address_of
from .columns import Columns, milliseconds
from .events import add_event_options, end_of, events_of
from .options import time
from .width import terminal_width

__all__ = ["add_parser", "run", "traffic_rows"]

_EPILOG = """\
First a row for each address: its packets, the time from one to the next (median to 3 %, longest), the share of the
track's time, losses whose first bytes are this address, and its last state. Then what changed, in the order of time.
From a pipe, a terminal or a serial line changes are written as they come, and the rows at the end; Ctrl-C there
ends it.

What depends on CV 29 of a decoder is shown both ways, with 28 and with 14 steps, unless --cv29 says how to read it.
Directions are as packets say them. A CV write is shown once, with the packet on which decoders act; whether a
decoder did, no packet tells.

With --json each line is an object. Its first key, event, tells the others; times are integer ns:
  change    time address item number before after effective words
  traffic   length mode losses addresses[address packets time first last refresh longest longest_at losses speed
            forward fl functions{} consist outputs{} aspect binary_states{} analog{} restriction cvs{} share]   (last)

Exit status: 0 at least one packet was decoded, 1 no packet was, 2 the input cannot be read or the use was wrong.
"""


def add_parser(subparsers: Any, everything: bool) -> argparse.ArgumentParser:
    """Add the command's parser."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "traffic",
        help="who is on the track, and what changes",
        description="Shows every address on the track: its last state, how often it is refreshed, and all changes.",
        usage="halfbit traffic FILE [options]",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("capture", metavar="FILE", help="the capture; - for standard input")
    parser.add_argument("--json", action="store_true", help="JSON Lines instead of text")
    parser.add_argument(
        "--address",
        type=address_of,
        action="append",
        metavar="ADDRESS",
        help="only this one, as 7 or 2604, or 'accessory 9 pair 2'; may be given several times",
    )
    parser.add_argument("--from", dest="start", type=time, metavar="TIME", help="only changes from here on")
    parser.add_argument("--to", dest="stop", type=time, metavar="TIME", help="nothing that ends later than here")
    parser.add_argument(
        "--plot", metavar="IMAGE", help="draw time against address to a file: .svg, .png or .pdf (needs matplotlib)"
    )
    add_event_options(parser, everything)
    return parser


def run(args: argparse.Namespace) -> int:
    """Follow the traffic and return the exit status."""
    plot = None
    if args.plot is not None:
        from ..plot.figure import check_plot  # imported here because matplotlib is slow and optional
        from ..plot.traffic import TrafficPlot

        check_plot(args.plot)
        plot = TrafficPlot(args.start or 0)
    source, events = events_of(args)
    track = TrackState()
    width = terminal_width()
    lines = Columns(("time ms", "address", "change"), (-12, 22 if _narrow(width) else 28), width)
    kept: list[Change] = []

    def put(changes: Sequence[Change]) -> None:
        wanted = [change for change in changes if _wanted(args, change)]
        if args.json:
            for change in wanted:
                print(json.dumps({"event": "change", **change.as_dict()}))
            return
        if source.live:
            _print_changes(lines, wanted)
        else:
            kept.extend(wanted)

    if source.live and not args.json:
        print(lines.head)
    for event in events():
        if args.stop is not None and end_of(event) > args.stop:
            break
        changes = track.feed(event)
        if plot is not None:
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
    if plot is not None:
        plot.save(args.plot, track, args.address, title=source.name)
    if not track.seen:
        sys.stdout.flush()
        print(f"halfbit: {source.name}: no packets", file=sys.stderr)
    if source.interrupted:
        return 130
    return 0 if track.seen else 1


def _narrow(width: int | None) -> bool:
    return width is not None and width < 110


def _print_changes(lines: Columns, changes: Sequence[Change]) -> None:
    """Print a line for each packet's changes to an address."""
    for (time, address), together in groupby(changes, key=lambda change: (change.time, change.address)):
        who = "track" if address is None else str(address)
        print(lines.row((milliseconds(time), who, ", ".join(map(str, together)))))


def _wanted(args: argparse.Namespace, change: Change) -> bool:
    if args.start is not None and change.time < args.start:
        return False
    return args.address is None or change.address in args.address or change.item is Item.MODE


def _chosen(args: argparse.Namespace, track: TrackState) -> dict[str, Any]:
    found = track.as_dict()
    if args.address is not None:
        names = [address.as_dict() for address in args.address]
        found["addresses"] = [row for row in found["addresses"] if row["address"] in names]
    return found


def traffic_rows(track: TrackState, wanted: Sequence[Address] | None = None) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """The titles, and a row for each address."""
    titles = ("address", "packets", "every ms", "longest", "share", "losses", "last state")
    rows = [row for row in track.seen.values() if wanted is None or row.address in wanted]
    return titles, [_cells(row, track) for row in sorted(rows, key=lambda row: row.address)]


def _print_rows(args: argparse.Namespace, track: TrackState, width: int | None) -> None:
    narrow = _narrow(width)
    widths = (22 if narrow else 28, -7, -8, -9, -6, -6)
    titles, cells = traffic_rows(track, args.address)
    if narrow:  # the state goes below, because there is no room beside it
        lines = Columns(titles[:-1], (22, -7, -8, -9, -6), width)
        print(lines.head.rstrip())
        for one in cells:
            print(lines.row(one[:-1]))
            if one[-1]:
                print(Columns((), (2,), width).row(("", one[-1])))
    else:
        print("\n".join(Columns(titles, widths, width).rows(cells)))
    print(
        f"\n{len(cells)} addresses in {milliseconds(track.length)} ms; "
        f"{track.losses} losses look like none of them"
    )


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
    parts: list[str] = []
    if row.speed is not None:
        parts.append(str(row.speed))
    if row.forward is not None:
        parts.append("forward" if row.forward else "reverse")
    lamp = row.lamp
    if lamp is not None:
        parts.append(f"FL {'on' if lamp is True else 'off' if lamp is False else lamp}")
    parts += [f"F{number} on" for number, on in sorted(row.functions.items()) if on]
    if row.consist is not None:
        parts.append(f"in consist {row.consist}")
    parts += [f"output {number} {'on' if on else 'off'}" for number, on in sorted(row.outputs.items())]
    if row.aspect is not None:
        parts.append(f"aspect {row.aspect}")
    parts += [f"binary state {number or 'all'} {'on' if on else 'off'}" for number, on in sorted(row.binary.items())]
    parts += [f"analog {number} = {value}" for number, value in sorted(row.analog.items())]
    if row.restriction is not None:
        parts.append(f"restricted to {row.restriction}")
    return ", ".join(parts)
