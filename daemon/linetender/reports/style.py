"""The style sheet of the pages."""

from linetender.reports.palette import DARK, LIGHT, variables

_SHEET = """
*{box-sizing:border-box}
body{margin:0;background:var(--ground);color:var(--text);
 font:1rem/1.5 system-ui,-apple-system,"Segoe UI",Roboto,"Noto Sans",sans-serif}
main{max-width:60rem;margin:0 auto;padding:1rem}
h1{font-size:1.5rem;line-height:1.25;margin:.5rem 0}
h2{font-size:1.2rem;margin:2rem 0 .5rem}
h3{font-size:1rem;margin:1rem 0 .25rem}
p,ul,ol,dl{margin:.4rem 0}
a{color:var(--link)}
.muted,figcaption{color:var(--muted)}
figcaption{font-size:.9rem}
.story{background:var(--panel);padding:.75rem 1rem;border-left:.3rem solid var(--muted)}
.story+.story{margin-top:.75rem}
.story.leave{border-left-color:var(--leave)}
.story h2{margin-top:0}
.story .first{font-size:1.15rem;font-weight:600}
.word{font-weight:700;white-space:nowrap}
.word.leave{color:var(--leave)}
.word.look{color:var(--look)}
.day{white-space:nowrap}
.wide-table{overflow-x:auto}
table{border-collapse:collapse;width:100%;margin:.5rem 0;font-size:.95rem}
th,td{text-align:left;vertical-align:top;padding:.3rem .6rem .3rem 0;
 border-bottom:1px solid var(--grid);overflow-wrap:break-word}
.number{text-align:right}
td.number{white-space:nowrap}
:where(.number)+td:where(:not(.number)),:where(.number)+th:where(:not(.number)){padding-left:.6rem}
td:nth-child(2):not(.number){overflow-wrap:anywhere;min-width:6.5rem}
caption{text-align:left;color:var(--muted);padding:.25rem 0}
figure{margin:.5rem 0 1rem;break-inside:avoid}
svg{display:block;width:100%;height:auto}
svg.narrow{display:none}
svg text{fill:var(--text);font-size:13px;font-family:inherit}
svg .small{fill:var(--muted)}
svg .grid{fill:none;stroke:var(--grid);stroke-width:1}
svg .axis{fill:none;stroke:var(--muted);stroke-width:1}
svg .limit{fill:none;stroke:var(--limit);stroke-width:1.2;stroke-dasharray:7 4}
svg .name-ground{fill:var(--ground)}
svg .curve{fill:none;stroke-width:1.8;stroke-linejoin:round}
svg .range{stroke:none;fill-opacity:.28}
svg .doubt{stroke-width:1;stroke-dasharray:1.5 2.5;fill-opacity:.10}
svg .dots{stroke:none}
svg .silent{fill:url(#hatch)}
svg .hatch-line{stroke:var(--muted);stroke-width:1}
svg .mark-line.leave{stroke:var(--leave);stroke-width:2}
svg .mark-line.look{stroke:var(--look);stroke-width:1.5;stroke-dasharray:3 3}
svg .mark.leave{fill:var(--leave);stroke:var(--leave)}
svg .mark.look{fill:var(--ground);stroke:var(--look);stroke-width:1.5}
svg text.mark-name{font-weight:700;text-anchor:middle}
svg text.mark-name.leave{fill:var(--ground)}
svg text.mark-name.look{fill:var(--look)}
svg .stage{fill:var(--panel);stroke:var(--muted);stroke-width:1}
svg .extent{fill-opacity:.25;stroke-width:1.2}
.air .curve,.air .doubt,.air .extent{stroke:var(--air)}
.air .range,.air .doubt,.air .dots,.air .extent{fill:var(--air)}
.oxygen .curve,.oxygen .doubt,.oxygen .extent{stroke:var(--oxygen)}
.oxygen .range,.oxygen .doubt,.oxygen .dots,.oxygen .extent{fill:var(--oxygen)}
.pulse .curve,.pulse .doubt,.pulse .extent{stroke:var(--pulse)}
.pulse .range,.pulse .doubt,.pulse .dots,.pulse .extent{fill:var(--pulse)}
.other .curve,.other .doubt,.other .extent{stroke:var(--other)}
.other .range,.other .doubt,.other .dots,.other .extent{fill:var(--other)}
@media (max-width:640px){
 svg.wide{display:none}
 svg.narrow{display:block}
 main{padding:.75rem}
 table.stack thead{position:absolute;clip-path:inset(50%);width:1px;height:1px;overflow:hidden}
 table.stack tr{display:block;border-bottom:1px solid var(--grid);padding:.4rem 0}
 table.stack td,table.stack th{display:block;border:0;padding:.1rem 0;text-align:left}
 table.stack td[data-name]::before{content:attr(data-name) ": ";color:var(--muted)}
 table.stack td:empty{display:none}
}
@media print{
 :root{font-size:10pt}
 main{max-width:none;padding:0}
 svg.wide{display:block}
 svg.narrow{display:none}
 h1,h2,h3,caption,thead,.lead{break-after:avoid}
 tr,li,.story,svg,.wide-table{break-inside:avoid}
 p,li{orphans:3;widows:3}
 .wide-table{overflow:visible}
}
"""

STYLE = (
    f":root{{color-scheme:light dark;{variables(LIGHT)}}}"
    f"@media screen and (prefers-color-scheme:dark){{:root{{{variables(DARK)}}}}}"
    f"{_SHEET}"
)
