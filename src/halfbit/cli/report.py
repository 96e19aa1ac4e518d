"""Writes one HTML file that opens anywhere, without a network. It says how the capture was read, and has its survey,
the traffic, the losses with pictures and what to do, and how the station keeps to the standards. Pictures need
matplotlib.

Exit status: 0 the report was written, 2 the input cannot be read or the command line is wrong.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from html import escape
from itertools import zip_longest
from pathlib import Path

from ..decoder import TrackState, audit
from ..error import HalfbitError
from ..inspect.cause import Cause, Diagnosis
from ..inspect.reading import Reading
from ..inspect.strips import Strip, strip_of
from ..inspect.text import explained
from ..plot.figure import check_plot
from ..plot.strip import plot_strips
from ..plot.survey import plot_survey
from ..plot.traffic import TrafficPlot
from ..survey import survey
from ..survey.text import lines as survey_lines
from .audit import audit_rows
from .clip import write_text
from .opening import Opened, opened
from .options import CaptureOptions, as_options
from .summary import Summary
from .traffic import traffic_rows

PICTURES, REACH = 12, 30  #: Most losses with a picture; durations shown on each side of a loss.

_STYLE = """
:root { color-scheme: light dark }
body { font: 16px/1.5 system-ui, sans-serif; margin: 0 auto; max-width: 62rem; padding: 1rem }
h1 { font-size: 1.5rem } h2 { font-size: 1.2rem; margin-top: 2rem } h3 { font-size: 1rem; margin-bottom: .3rem }
pre { font: 13px/1.4 ui-monospace, monospace; white-space: pre-wrap; margin: .5rem 0 }
.wide { overflow-x: auto } .wide svg { min-width: 56rem; width: 100%; height: auto; background: white }
table { border-collapse: collapse; font-size: .9rem }
th, td { text-align: left; padding: .2rem .8rem .2rem 0; vertical-align: top; white-space: nowrap }
th { border-bottom: 1px solid } td:last-child { white-space: normal; min-width: 16rem }
td.n { text-align: right; white-space: nowrap } .bad { color: #c0392b; font-weight: 600 }
"""


def add_options(parser: argparse.ArgumentParser, everything: bool) -> None:
    """Add the command's options."""
    options = CaptureOptions(parser, everything, "FILE --out report.html", "the capture, a file")
    group = options.group("what is written")
    group.add("--out", required=True, metavar="HTML", help="the file to write")
    options.add_shared()


def run(args: argparse.Namespace) -> int:
    """Write the report and return the exit status."""
    with opened(args, twice="a report") as capture:
        page = _page(Path(capture.source.name).name, capture)
    write_text(args.out, page)
    return 0


def _page(name: str, capture: Opened) -> str:
    summary, track, plot, losses, shown = Summary(), TrackState(), TrafficPlot(), list[Diagnosis](), list[Strip]()
    reading = capture.reading
    for event, diagnosis in capture.diagnosed():
        summary.add(event, diagnosis)
        plot.add(event, track.feed(event), track)
        if diagnosis is not None and diagnosis.cause is not Cause.CUT:
            fault = diagnosis.fault
            if len(losses) < PICTURES:
                shown.append(strip_of(fault, capture.durations, reading.limits, (), diagnosis, fault.at, REACH)[0])
            losses.append(diagnosis)
    track.finish()
    summary.finish(reading, capture.durations)
    parts = [
        f"<p>Read as: {escape(as_options(reading.words))}.</p>",
        f"<pre>{escape(chr(10).join(summary.lines(causes=False)))}</pre>",
        *_cause_part(summary),
        *_survey_part(reading),
        "<h2>Traffic</h2>",
        _table(*traffic_rows(track)),
        _picture(lambda path: plot.save(path, track, None)) if track.seen else "",
        *_loss_part(reading, losses, shown),
        *_audit_part(reading),
    ]
    title = f"Report on {escape(name)}"
    meta = '<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
    head = f"<head>{meta}<title>{title}</title><style>{_STYLE}</style></head>"
    body = "\n".join([f"<body><h1>{title}</h1>", *filter(None, parts), "</body>"])
    return f'<!doctype html>\n<html lang="en">{head}{body}</html>\n'


def _cause_part(summary: Summary) -> list[str]:
    items = [
        f"<li><b>{number} {'lost: ' * (label == 'cause')}{escape(text)}.</b> {escape(advice)}</li>"
        for label, number, text, advice in summary.cause_rows()
    ]
    return ["<h2>What was wrong</h2>", f"<ul>{''.join(items)}</ul>"] if items else []


def _survey_part(reading: Reading) -> list[str]:
    found = survey(reading.edges, thorough=False)
    verdict = found.verdict
    text = f"{verdict.reason[0].upper()}{verdict.reason[1:]}."
    return [
        "<h2>Survey</h2>", f"<p>{escape(text)}</p>", _picture(lambda path: plot_survey(found, path)),
        f"<details><summary>In figures</summary><pre>{escape(chr(10).join(survey_lines(found, 100)))}</pre></details>",
    ]  # fmt: skip


def _loss_part(reading: Reading, losses: Sequence[Diagnosis], shown: Sequence[Strip]) -> list[str]:
    if not losses:
        return ["<h2>Losses</h2>", "<p>Nothing was lost.</p>"]
    more = f" The first {PICTURES} have a picture." if len(losses) > PICTURES else ""
    parts = ["<h2>Losses</h2>", f"<p>{len(losses)} stretches were lost.{more}</p>"]
    for each, strip in zip_longest(losses, shown):
        first, *rest = explained(each, reading.limits)
        parts += [f"<h3>{escape(first)}</h3>", "<p>" + "<br>".join(map(escape, rest)) + "</p>"]
        if strip is not None:
            parts.append(_picture(partial(plot_strips, [strip], limits=reading.limits)))
    return parts


def _audit_part(reading: Reading) -> list[str]:
    found = audit(reading.edges)
    verdict = "No rule is broken." if found.sound else "Rules are broken."
    return ["<h2>Audit of the station</h2>", f"<p>{verdict}</p>", _table(*audit_rows(found))]


def _table(titles: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    head = "".join(f"<th>{escape(title)}</th>" for title in titles)
    body = "".join("<tr>" + "".join(_cell(text) for text in row) + "</tr>" for row in rows)
    return f'<div class="wide"><table><tr>{head}</tr>{body}</table></div>'


def _cell(text: str) -> str:
    kind = ' class="n"' if text[:1].isdigit() and len(text) < 12 else ' class="bad"' if text == "BROKEN" else ""
    return f"<td{kind}>{escape(text)}</td>"


def _picture(draw: Callable[[str], None]) -> str:
    """A picture as inline SVG; a note if matplotlib is not installed."""
    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder, "picture.svg"))
        try:
            check_plot(path)
        except HalfbitError as error:
            return f"<p>{escape(str(error))}</p>"
        draw(path)
        text = Path(path).read_text("utf-8")
    return f'<div class="wide">{text[text.index("<svg") :]}</div>'
