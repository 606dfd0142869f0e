"""A page for looking at: every class of the style sheet and every chart, with invented content. Used by tests only."""

from functools import cache
from html import escape

from service.documents.presentation import Presentation
from service.web.charts.accuracy import coverage_svg, coverage_table
from service.web.charts.life_used import life_used_svg, life_used_table
from service.web.charts.models import ChartTable
from service.web.charts.odometer import odometer_svg, odometer_table
from service.web.charts.stock import stock_svg, stock_table
from tests.web.charts.factories import coverage_chart, life_used_chart, odometer_chart, stock_chart

POLICY = "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'"
LINES = (
    (
        "VAN-007",
        "Automatic transmission",
        "60 000 km since the last full exchange.",
        "Overdue",
        "badge-overdue",
    ),
    (
        "BUS-12",
        "Rear axle",
        "36 months since the last change; the maker gives 36.",
        "carried over",
        "badge-carried",
    ),
    ("TRACTOR <3>", "Hydraulics", "Water 0.3 % in the sample of 2026-04-20.", "new", "badge-new"),
    ("CAR-1", "Engine", "Moved from Tuesday: the vehicle was away.", "moved", "badge-moved"),
    ("VAN-040", "Automatic transmission", "One reading waits for a decision.", "held", "badge-held"),
    ("VAN-041", "Engine", "Done on 2026-05-07.", "done", "badge-done"),
)


def _row(vehicle: str, compartment: str, reason: str, state: str, badge: str) -> str:
    return (
        f'<tr role="row"><th role="rowheader" scope="row"><a href="/v">{escape(vehicle)}</a></th>'
        f'<td role="cell" data-label="Compartment">{compartment}</td><td role="cell" data-label="Why">{reason}</td>'
        f'<td role="cell" data-label="Due" class="date">2026-05-11</td>'
        f'<td role="cell" data-label="Fluid">4.2 L in 3 rounds</td>'
        f'<td role="cell" data-label="Change"><span class="badge {badge}">{state}</span></td></tr>'
    )


def _table(table: ChartTable) -> str:
    head = "".join(f'<th scope="col">{escape(heading)}</th>' for heading in table.headings)
    rows = "".join(
        "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in table.rows[:8]
    )
    return (
        f'<div class="scrolls" tabindex="0" role="region" aria-label="{escape(table.caption)}"><table>'
        f"<caption>{escape(table.caption)}</caption><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>"
    )


def _figure(svg: str, table: ChartTable) -> str:
    return (
        f'<figure class="chart-figure"><figcaption>{escape(table.caption)}</figcaption>{svg}'
        f"<details><summary>As a table</summary>{_table(table)}</details></figure>"
    )


def _figures() -> str:
    presentation = Presentation()
    odometer, life, stock = odometer_chart(), life_used_chart(), stock_chart()
    coverage = coverage_chart()
    return "".join(
        (
            _figure(odometer_svg(odometer, presentation), odometer_table(odometer, presentation)),
            _figure(life_used_svg(life, presentation), life_used_table(life, presentation)),
            _figure(stock_svg(stock, presentation), stock_table(stock, presentation)),
            _figure(coverage_svg(coverage, presentation), coverage_table(coverage, presentation)),
        )
    )


FORM = """
<form class="card" action="/readings" method="post"><h2>Post a reading</h2>
<p class="caution">Fluid may be hotter than 100 °C: eye protection, gloves, sleeves.</p>
<div class="fields-in-row">
<div class="field"><label for="odometer">Odometer</label>
<p class="field-hint" id="odometer-hint">Kilometres, as shown.</p>
<p class="field-error" id="odometer-error">Lower than the reading of 2026-05-01 (84 210 km).</p>
<input id="odometer" name="odometer" inputmode="decimal" value="8421" aria-invalid="true"
aria-describedby="odometer-hint odometer-error"></div>
<div class="field"><label for="day">Day</label><input id="day" name="day" type="date" value="2026-05-08"></div></div>
<div class="field"><label for="source">Source</label>
<select id="source" name="source"><option>driver</option></select></div>
<fieldset><legend>What the fluid looked like</legend>
<label class="choice"><input type="radio" name="grade" checked> clear red</label>
<label class="choice"><input type="radio" name="grade"> dark brown</label></fieldset>
<label class="choice"><input type="checkbox" name="counter"> Fluid counter reset</label>
<div class="field"><label for="note">Remarks</label><textarea id="note" name="note" rows="2"></textarea></div>
<div class="actions"><button class="button">Save</button><a class="button button-quiet" href="/later">Finish later</a>
<button class="button button-risky">Discard</button></div></form>
"""


@cache
def demo_page() -> str:
    rows = "".join(_row(*line) for line in LINES)
    return f"""<!doctype html><html lang="en"><head>
<meta charset="utf-8"><title>Week 2026-W20 (invented)</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{POLICY}">
<link rel="stylesheet" href="/static/sumpwise.css"></head>
<body><a class="skip-link" href="#main">To the content</a>
<header class="page-header"><a class="page-name" href="/">Sumpwise</a><nav class="page-nav" aria-label="Main"><ul>
<li><a href="/week" aria-current="page">This week</a></li><li><a href="/vehicles">Vehicles</a></li>
<li><a href="/stock">Stock</a></li><li><a href="/accuracy">Accuracy</a></li><li><a href="/settings">Settings</a></li>
</ul></nav></header>
<main class="page-main" id="main"><h1>Week 2026-W20</h1>
<p class="quiet">Invented example. Published 2026-05-08 06:00 +02:00.</p>
<p class="notice">Two vehicles have no reading for 30 days; their dates are less sure.</p>

<p class="notice notice-good">The reading was saved.</p>
<p class="notice notice-bad">The list could not be sent by e-mail.</p>
<div class="cards"><section class="card"><h2>Work</h2><p class="big-number">12 visits</p>
<p class="quiet">900 of 1 200 minutes</p>
</section>
<section class="card"><h2>Take off the shelf</h2>
<dl class="facts"><div><dt>Example ATF VI</dt><dd>57.0 L</dd></div>

<div><dt>Sealing washer</dt><dd>24</dd></div></dl></section></div>
<h2>Monday 2026-05-11</h2>
<table class="stacks" role="table"><caption>Due on Monday</caption><thead role="rowgroup"><tr role="row">
<th role="columnheader" scope="col">Vehicle</th><th role="columnheader" scope="col">Compartment</th>
<th role="columnheader" scope="col">Why</th><th role="columnheader" scope="col" class="number">Due</th>
<th role="columnheader" scope="col">Fluid</th><th role="columnheader" scope="col">Change</th>
</tr></thead><tbody role="rowgroup">{rows}</tbody></table>
<nav aria-label="Pages of the list"><ul class="pagination"><li><a href="?p=1">Previous</a></li>
<li><span aria-current="page">2</span></li><li><a href="?p=3">Next</a></li></ul></nav>
{FORM}
<h2>Charts</h2><div class="cards">{_figures()}</div>
<details open><summary>What this is based on</summary><p>52 readings, 2 of them held back.</p></details>
</main>
<footer class="page-foot">Dates are estimates; the maker's schedule is never softened by them.</footer></body></html>"""
