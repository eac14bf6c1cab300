"""The reviews of a batch as one HTML page, to read on a phone and to print: the same sentences as the text, in the look of the history.

The page needs nothing beside itself: no script, no font, no picture, no network.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from monitor.analysis.review.judged import Verdict
from monitor.analysis.review.whole import BatchReview
from monitor.domain.published.causes import MEAN, Catalogue
from monitor.shown.form import Shown
from monitor.shown.review.whole import HEAD, READING, TITLE, Section, sections
from monitor.shown.style import STYLE

# Beside the style of the history: a cause and what is said to it stay on one sheet, a caution stands in a frame.
_MORE = (
    "h3{border-left:4px solid var(--mark);padding-left:.5em}p.cause{margin-top:.5em}p.cause+p.in{margin-top:.1em}"
    "p.caution{border:1px solid var(--hot);border-radius:4px;padding:.4em .6em}"
    "svg.strip{height:12px;margin:.2em 0}.here{stroke:var(--line);stroke-width:4}.good{stroke:var(--ink);stroke-width:1.2}"
    "div{break-inside:avoid}div+div{margin-top:1em}h2.one{margin-top:2em;border-bottom:2px solid var(--ink)}"
)


KEY = (
    "In the drawings: shaded, the band (or what is said to be harmless); the thick line, this record; thin lines, batches that went"
    " well."
)


def review_html(whole: BatchReview, catalogue: Catalogue, shown: Shown) -> str:
    """The page."""
    body: list[str] = []
    for section in sections(whole, catalogue, shown):
        body += _section(section)
        body += [f"<p>{KEY}</p>"] if section.head == READING else []
    title = f"Review of batch {escape(whole.batch)}"
    return (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{title}</title>\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<style>{STYLE}{_MORE}</style>\n</head>\n<body>\n" + "\n".join(body) + "\n</body>\n</html>\n"
    )


def _section(section: Section) -> Iterator[str]:
    tag = {TITLE: "h1", HEAD: "h3"}.get(section.level, "h2")
    head = section.head
    one = ' class="one"' if tag == "h2" and not section.lines else ""
    yield f"<{tag}{one}>{escape(head[:1].upper() + head[1:])}</{tag}>"
    blocks, before = iter(section.verdicts), ""
    for line in section.lines:
        cause = line.startswith("- ")
        if cause and not before.startswith("- "):
            yield f"{'</div>' if before else ''}<div>"
        if before.startswith("- ") and not cause:
            yield from _strip(next(blocks))
        kind = "cause" if cause else "caution" if section.head == "CAUTION" else "in" if line.startswith("  ") else ""
        opened = f'<p class="{kind}">' if kind else "<p>"
        yield f"{opened}{escape(line.removeprefix('- ').strip())}</p>"
        before = line
    if any(line.startswith("- ") for line in section.lines):
        yield "</div>"


def _strip(verdict: Verdict) -> Iterator[str]:
    """The figure in its band, and where batches that went well lie; nothing where there is no figure or no band."""
    figure, check = verdict.figure, verdict.check
    if figure is None or check is None:
        return
    low, high = (figure.low, figure.high) if check.kind == MEAN else (0.0, verdict.first.levels(check)[0])
    marks = [x for x in (low, high, figure.value, *verdict.good) if x is not None]
    if low is None and high is None:
        return
    first, width = min(marks), max(max(marks) - min(marks), 1e-9)

    def x(value: float) -> str:
        return f"{10.0 + 80.0 * (value - first) / width:.1f}"

    left, right = "0" if low is None else x(low), "100" if high is None else x(high)
    yield '<svg class="strip" viewBox="0 0 100 10" preserveAspectRatio="none" role="img" aria-hidden="true">'
    yield f'<rect class="band" x="{left}" y="0" width="{float(right) - float(left):.1f}" height="10"/>'
    yield f'<line class="here" x1="{x(figure.value)}" y1="0" x2="{x(figure.value)}" y2="10"/>'
    yield from (f'<line class="good" x1="{x(v)}" y1="3" x2="{x(v)}" y2="10"/>' for v in verdict.good)
    yield "</svg>"
