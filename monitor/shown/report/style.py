"""How the page of a history looks: for a phone first, in the dark where that is preferred, and always light on paper."""

STYLE = """
:root{color-scheme:light dark;--paper:#fff;--ink:#1d1d1b;--faint:#6b6b66;--rule:#c9c9c3;--line:#1a4f8b;--band:#3f8f4f;
--hot:#c0392b;--cold:#2878b5;--gap:#8a8a85;--mark:#7a4fa3}
@media screen and (prefers-color-scheme:dark){:root{--paper:#161614;--ink:#e8e8e2;--faint:#a3a39c;--rule:#4a4a45;--line:#8fc1f5;
--band:#5fbf74;--hot:#ff7b6b;--cold:#6cb8f0;--gap:#8a8a85;--mark:#c9a4ee}}
*{box-sizing:border-box}
body{margin:0 auto;padding:12px;max-width:960px;background:var(--paper);color:var(--ink);
font:15px/1.4 system-ui,sans-serif;overflow-wrap:break-word}
h1{font-size:1.3em;margin:.2em 0}h2{font-size:1.1em;margin:1.4em 0 .3em;border-bottom:1px solid var(--rule)}
h3{font-size:1em;margin:1.1em 0 .2em}p{margin:.25em 0}p.in{padding-left:1em}
figure{margin:1em 0}figcaption{font-weight:600;margin-bottom:.35em}figcaption small{font-weight:400;color:var(--faint)}
.plot{display:grid;grid-template-columns:3.6em 1fr;padding-right:.5em}
.y,.x{position:relative;color:var(--faint);font-size:.75em}
.y span{position:absolute;right:.5em;transform:translateY(-50%)}
.x{grid-column:2;height:1.5em}.x span{position:absolute;transform:translateX(-50%);white-space:nowrap}
.name{color:var(--faint);font-size:.75em;align-self:center;overflow:hidden;text-overflow:ellipsis}
svg{display:block;width:100%;height:170px;overflow:visible}
svg.strip{height:22px}svg.bars{height:44px}svg.losses{height:120px}
svg *{vector-effect:non-scaling-stroke}
.frame{fill:none;stroke:var(--rule)}.grid{stroke:var(--rule);stroke-width:.5}
.band{fill:var(--band);fill-opacity:.2}.alarm{stroke:var(--hot);stroke-dasharray:5 3}.alarm.below{stroke:var(--cold)}
.air{fill:var(--line);stroke:var(--line);stroke-width:1;stroke-linejoin:round}
.out{fill:var(--hot);fill-opacity:.25}.out.below{fill:var(--cold)}
.gap{fill:var(--gap);fill-opacity:.45}
.move{stroke:var(--mark);stroke-width:1.5}.stage{stroke:var(--mark);stroke-dasharray:2 3}
.opening{stroke:var(--ink);stroke-width:1.2}.handling{fill:var(--mark);fill-opacity:.5}
.entry{stroke:var(--band);stroke-width:2.5}
.dot{stroke:var(--line);stroke-width:6;stroke-linecap:round}
.ribbon{fill:var(--ink);fill-opacity:.13}.probe{fill:none;stroke:var(--ink);stroke-width:.8;stroke-dasharray:4 3}.probe.b{stroke-dasharray:1 2}
.rang{fill:var(--hot);fill-opacity:.7}.rang.mild{fill:var(--mark);fill-opacity:.45}svg.thin{height:26px}
.hatched{fill:var(--band);fill-opacity:.85}.died{fill:var(--hot);fill-opacity:.85}.gone{fill:var(--gap);fill-opacity:.7}
p.ended{font-size:1.15em;font-weight:600;margin:.4em 0}
.loss{fill:none;stroke:var(--line);stroke-width:1.2}
.bar{fill:var(--line);fill-opacity:.75}
.lane{position:relative;height:1.7em;border-bottom:1px solid var(--rule);font-size:.8em}
.lane span{position:absolute;top:0;bottom:0;overflow:hidden;white-space:nowrap;border-left:2px solid var(--mark);
display:flex;flex-wrap:wrap;line-height:1.7}
.lane span::before{content:"";width:.3em;height:1.7em}
p.named{color:var(--faint);font-size:.8em}
table{border-collapse:collapse;width:100%;font-size:.82em;font-variant-numeric:tabular-nums}
th,td{padding:2px 4px;text-align:right;border-bottom:1px solid var(--rule);font-weight:400;vertical-align:top}
td.words,th.words{text-align:left}
tr:first-child th,th[scope]{font-weight:600}th[scope]{text-align:left;width:24%}
.key{display:flex;flex-wrap:wrap;gap:.3em 1.2em;font-size:.8em;color:var(--faint);padding:0;list-style:none}
.key svg{display:inline-block;width:22px;height:12px;vertical-align:middle;margin-right:.4em}
@media print{:root{color-scheme:light}body{font-size:9pt;max-width:none;padding:0}@page{size:A4;margin:14mm}
figure,table,h2,h3{break-inside:avoid}h2,h3{break-after:avoid}svg{print-color-adjust:exact;-webkit-print-color-adjust:exact}}
""".replace("\n", "")
