//! How the page looks: one style sheet, no fonts or files from elsewhere.
//!
//! The colours are those of the glaze kitchen: celadon for what is permitted,
//! iron red for the old setting, cobalt for the new table. Each has a dark and
//! a light value; on paper the light ones hold, and every series also differs
//! by shape, dash or fill, so that black and white is enough.

/// Colours as custom properties, for light, dark and paper.
pub const COLOURS: &str = "\
:root{color-scheme:light dark;--paper:#fdfcfa;--ink:#1d2326;--soft:#59636a;--rule:#d9d6cf;\
--grid:#e6e3dc;--frame:#8b9298;--band:#d5e8dc;--limit:#3f7d62;--before:#a63d1e;--after:#1d4c9e;\
--bar:#c3c9cf;--good:#1f6b4a;--bad:#a02c14;--panel:#f4f1ea}\
@media screen and (prefers-color-scheme:dark){:root{--paper:#14181a;--ink:#e9e6df;--soft:#a4adb3;\
--rule:#343b3f;--grid:#262c30;--frame:#6d767c;--band:#1f3b30;--limit:#6fb596;--before:#f0906c;\
--after:#8db4ff;--bar:#4a5359;--good:#7fcaa6;--bad:#ff9878;--panel:#1c2124}}";

/// Strokes and texts of the pictures.
pub const PLOTS: &str = "\
.plot{display:block;width:100%;height:auto;overflow:visible;font-family:inherit}\
.plot text{fill:var(--ink);stroke:var(--paper);stroke-width:4px;paint-order:stroke;stroke-linejoin:round;font-size:14px;font-variant-numeric:tabular-nums}\
.narrow .plot text{font-size:12px}\
.plot .tick{fill:var(--soft)}.plot .strong{font-weight:650}\
.plot line,.plot polyline{fill:none;stroke-width:1}\
.plot .grid{stroke:var(--grid)}.plot .zero{stroke:var(--frame)}.plot .frame{stroke:var(--frame)}\
.plot polygon.band,.plot rect.band{fill:var(--band);stroke:none}\
.plot rect.key{stroke:var(--limit);stroke-width:1}\
.plot .limit{stroke:var(--limit);stroke-width:1.4}\
.plot .table-u{stroke:var(--after);stroke-dasharray:1.5 3.5;stroke-width:1.4;stroke-linecap:round}\
.plot line.before,.plot polyline.before{stroke:var(--before);stroke-width:1.5;stroke-dasharray:7 4}\
.plot .before.open{fill:var(--paper);stroke:var(--before);stroke-width:1.6}\
.plot .before.full{fill:var(--before);stroke:none}\
.plot line.doubted,.plot polyline.doubted{stroke:var(--ink);stroke-width:1.4;stroke-dasharray:2 3}\
.plot .doubted.open{fill:var(--paper);stroke:var(--ink);stroke-width:1.6}.plot .doubted.full{fill:var(--ink);stroke:none}\
.plot line.after,.plot polyline.after{stroke:var(--after);stroke-width:1.6}\
.plot line.after{stroke:var(--after);stroke-width:1.6}\
.plot line.other-u{stroke:var(--before);stroke-width:1.6}\
.plot .after.full{fill:var(--after);stroke:var(--paper);stroke-width:1}\
.plot .after.open{fill:var(--paper);stroke:var(--after);stroke-width:2.2}\
.plot .pan{fill:none;stroke:var(--frame);stroke-width:1.4}\
.plot circle.allowed{fill:var(--band);stroke:var(--limit);stroke-width:1.2;stroke-dasharray:4 3}\
.plot circle.rim{fill:none;stroke:var(--paper);stroke-width:1.4;stroke-dasharray:4 3}\
.plot rect.part{fill:var(--after);stroke:var(--after);stroke-width:.8}\
.plot .part.a{fill-opacity:.88}.plot .part.b{fill-opacity:.16}.plot .part.c{fill-opacity:.6}.plot .part.d{fill-opacity:.04}\
.plot .part.f{fill-opacity:.74}.plot .part.g{fill-opacity:.28}.plot .part.h{fill-opacity:.46}.plot rect.part.rest{fill:var(--bar)}\
.plot polyline.rising,.plot line.rising{stroke:var(--after);stroke-width:1.2}\
.plot polyline.falling,.plot line.falling{stroke:var(--before);stroke-width:1.2;stroke-dasharray:5 3}\
.plot .rising.full{fill:var(--after);stroke:none}\
.plot .falling.open{fill:var(--paper);stroke:var(--before);stroke-width:1.6}\
.plot .at-zero.open{fill:var(--paper);stroke:var(--ink);stroke-width:1.4}\
.plot .trace{stroke:var(--after);stroke-width:.9;stroke-linejoin:round}\
.plot .bar{fill:var(--bar);stroke:var(--frame);stroke-width:.8}.plot .bar.chosen{fill:var(--after);stroke:none}";

/// The page around them.
pub const PAGE: &str = "\
*{box-sizing:border-box}\
body{margin:0;background:var(--paper);color:var(--ink);font:16px/1.5 system-ui,-apple-system,\
\"Segoe UI\",\"Helvetica Neue\",\"Liberation Sans\",Arial,sans-serif;-webkit-text-size-adjust:100%}\
main{max-width:924px;margin:0 auto;padding:28px 32px 56px}\
h1,h2{text-wrap:balance;line-height:1.25;font-weight:650}\
h1{font-size:clamp(1.35rem,1rem + 1.5vw,1.9rem);margin:.5em 0 .8em;letter-spacing:-.01em}\
h2{font-size:1.15rem;margin:2.6em 0 .6em}\
p{margin:.5em 0;max-width:46em}.soft,figcaption{color:var(--soft)}\
.kicker{font-size:.9rem;color:var(--soft);margin:0;overflow-wrap:anywhere}\
.note{border-left:4px solid var(--limit);background:var(--panel);padding:.55em .9em;margin:1em 0}\
.note.warn{border-left-color:var(--bad)}\
figure{margin:1.2em 0 0}figcaption{font-size:.92rem;margin:.5em 0 0;max-width:46em}\
.narrow{display:none;max-width:480px}\
.sums{display:grid;grid-template-columns:repeat(3,1fr);gap:0 28px;margin:1.2em 0 1.6em;padding:0}\
.sums div{border-top:1px solid var(--rule);padding:.55em 0}\
.sums dt{font-size:.88rem;color:var(--soft)}.sums dd{margin:0;font-size:1.35rem;font-weight:650;\
font-variant-numeric:tabular-nums}.sums dd small{display:block;font-size:.88rem;font-weight:400;color:var(--soft)}\
.scroll{overflow-x:auto}.soft{font-weight:400}.opening+.scroll,figure+.scroll,.scroll+figure{margin-top:1.6em}\
table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums;font-size:.95rem}\
caption{text-align:left;color:var(--soft);padding:0 0 .5em;font-size:.92rem}\
th,td{padding:.34em .7em;text-align:right;border-bottom:1px solid var(--rule);vertical-align:baseline}\
th{font-weight:600}thead th{border-bottom:1.5px solid var(--frame);white-space:nowrap}\
th:first-child,td:first-child{padding-left:0}th:last-child,td:last-child{padding-right:0}\
.l{text-align:left}.m{text-align:center}.nar{display:none;font-weight:400;color:var(--soft);font-size:.92em}thead .g{border-bottom:none;padding-bottom:0}.n{white-space:nowrap}.w{overflow-wrap:anywhere}\
.maybe{font-weight:650;white-space:nowrap}.pass{color:var(--good);white-space:nowrap}.fail{color:var(--bad);font-weight:650;white-space:nowrap}.w.fail{white-space:normal}.name{min-width:6em}tr.on>*{border-bottom:none}tr.on+tr td{padding-top:0}tr.on{break-after:avoid}\
tr.chosen td,tr.chosen th{background:var(--panel);font-weight:650}\
dl.facts{display:grid;grid-template-columns:max-content 1fr;gap:.3em 1.6em;margin:.6em 0}\
dl.facts dt{color:var(--soft)}dl.facts dd{margin:0;overflow-wrap:anywhere}\
ul{margin:.4em 0;padding-left:1.2em;max-width:46em}li{margin:.25em 0}\
summary{cursor:pointer;padding:.35em 0;font-weight:600}\
details+.more{display:none}details[open]+.more{display:block}\
.tables{columns:17em;column-gap:3em}.tables table{font-size:.9rem}\
code{font:.95em ui-monospace,\"Liberation Mono\",Menlo,Consolas,monospace;overflow-wrap:anywhere}\
footer{margin-top:3em;border-top:1px solid var(--rule);padding-top:.8em;font-size:.88rem;color:var(--soft)}\
@media screen and (max-width:719px){main{padding:18px 16px 40px}.wide{display:none}.narrow{display:block}\
.sums{grid-template-columns:1fr;gap:0}dl.facts{grid-template-columns:1fr;gap:0}dl.facts dd{margin-bottom:.5em}\
th,td{padding:.34em .22em}table{font-size:.84rem}.x{display:none}.nar{display:block}.tables table{table-layout:fixed}.tables table+table thead{display:none}.sums dd{display:flex;gap:.6em;align-items:baseline}}\
@page{margin:15mm 14mm}\
@media print{:root{--paper:#fff}body{font-size:10pt;line-height:1.35}main{max-width:none;padding:0}h1{font-size:15pt;margin:.3em 0 .5em}.note,.sums{margin:.6em 0}figure{margin-top:.8em}figcaption,p{max-width:none}\
h2{margin-top:1.7em;break-after:avoid}figure,.note,.sums,.whole,.opening,.tables table,tr,li{break-inside:avoid}thead{display:table-header-group}\
footer{margin-top:1.4em}details{display:none}details+.more{display:block}.scroll{overflow:visible}table{font-size:9.5pt}\
.plot{max-height:138mm}.note,tr.chosen td,tr.chosen th{print-color-adjust:exact;-webkit-print-color-adjust:exact}}";
