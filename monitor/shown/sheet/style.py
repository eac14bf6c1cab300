"""How the sheet of an egg looks: that of a history, with the answer set large, and every lane of its life under one another."""

from monitor.shown.report.style import STYLE
from monitor.shown.review.whole import ITEMS

SHEET = (
    STYLE
    + ITEMS
    + (
        ":root{--wash:#7a4fa314}"
        "@media screen and (prefers-color-scheme:dark){:root{--wash:#c9a4ee1c}}"
        "body{max-width:860px}h1{font-weight:600;letter-spacing:.01em;margin-bottom:0}"
        "h1{font-size:.95em;color:var(--faint);font-weight:400}h1~p.about{color:var(--faint);font-size:.85em;margin:.1em 0 .9em}"
        "h3{border-left:0;padding-left:0}p.answer{font-size:1.08em;line-height:1.45;margin:.35em 0;max-width:46em}p.answer.first{font-size:1.5em;font-weight:600;line-height:1.25;margin:.5em 0 .4em}"
        "p.lab{display:grid;grid-template-columns:7.5em 1fr;margin:.15em 0}p.lab b{"
        "font-weight:400;color:var(--faint)}"
        ".life div,.life div+div{margin-top:0}.life .out{fill-opacity:.17}.life p.named{margin:0 0 .5em}.life{margin:1.2em 0}.life .plot{margin-bottom:2px}.life .name{line-height:1.25;white-space:normal;justify-self:start}"
        ".life svg{height:130px}.life svg.big{height:190px}.life svg.thin{height:26px}.life svg.losses{height:96px}"
        ".life .x{height:1.3em}.life .x.top span{color:var(--ink)}"
        ".when{fill:var(--mark);fill-opacity:.13}.found{stroke:var(--mark);stroke-width:2}"
        ".seen{position:relative;height:1.9em;border-bottom:1px solid var(--rule)}"
        ".seen i{position:absolute;transform:translateX(-50%);font-style:normal;line-height:1.9em}"
        ".seen i.dead{color:var(--hot)}.seen i.alive{color:var(--band)}"
        ".asked{position:relative;height:1.8em;font-size:.75em}.asked span{position:absolute;top:.2em;bottom:.2em;overflow:hidden;"
        "white-space:nowrap;padding:0 .3em;background:var(--wash);border-left:2px solid var(--mark);line-height:1.5}"
        ".life table,table{font-size:.85em}"
        "td:first-child,td:nth-child(2){white-space:nowrap;font-variant-numeric:tabular-nums}"
        "img{max-width:100%;max-height:70mm;display:block;margin:.5em 0}"
        "@media(max-width:520px){p.lab{display:block;margin:.4em 0}p.lab b{display:block;font-size:.85em}"
        "td:nth-child(2){white-space:normal}.life svg.big{height:150px}}"
        "@media print{body{font-size:8.8pt}.life svg.big{height:43mm}.life svg{height:26mm}.life svg.losses{height:22mm}.life svg.thin{height:5mm}"
        "p.answer.first{font-size:1.4em}p.answer{line-height:1.35;max-width:none}h2{margin-top:1em}figure.life{break-inside:avoid}}"
    )
)
