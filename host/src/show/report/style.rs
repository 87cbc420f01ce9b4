//! The page's look. Sizes are at least 12 CSS px (9 pt); colours are those of [`palette`].

use crate::show::font::{self, FAMILY};
use crate::show::palette as p;

/// The style sheet, with the font in it.
pub fn sheet() -> String {
    font::css() + &look()
}

/// The style sheet without the font.
pub fn look() -> String {
    let colours = [
        ("paper", p::PAPER),
        ("shade", p::SHADE),
        ("ink", p::INK),
        ("faint", p::FAINT),
        ("grid", p::GRID),
        ("petrol", p::PETROL),
        ("rust", p::RUST),
        ("plum", p::PLUM),
    ];
    let variables: String = colours.map(|(name, colour)| format!("--{name}:{};", colour.hex())).concat();
    format!(":root{{{variables}--sans:\"{FAMILY}\",sans-serif}}{SCREEN}{NARROW}{PRINT}")
}

const SCREEN: &str = "
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%;text-size-adjust:100%}
body{margin:0;background:var(--paper);color:var(--ink);font:16px/1.45 var(--sans);overflow-wrap:break-word}
main,footer{max-width:704px;margin:0 auto;padding:12px}
header .lead{margin:0;color:var(--faint)}
h1.verdict{font-size:23px;line-height:1.25;margin:4px 0 14px;padding:0 0 0 12px;border-left:6px solid var(--petrol)}
h2{font-size:19px;line-height:1.25;margin:34px 0 8px;padding-top:8px;border-top:2px solid var(--ink)}
h3{font-size:16px;line-height:1.3;margin:20px 0 4px}
p,ul,ol,dl{margin:6px 0}
.note,figcaption,.why{color:var(--faint);font-size:14px}
ol.findings{padding-left:22px}
ol.findings li{margin:8px 0}
ul.tally{list-style:none;padding:0;margin:0 0 8px;display:flex;flex-wrap:wrap;gap:6px 18px}
.chip{white-space:nowrap;font-weight:bold}
.chip b{display:inline-block;min-width:1.25em;margin-right:.3em;text-align:center;border:1.5px solid currentColor;border-radius:4px;line-height:1.25}
.agrees{color:var(--petrol)}.differs{color:var(--rust)}.unresolved{color:var(--plum)}.unmeasured{color:var(--faint)}
table{border-collapse:collapse;width:100%;font-size:14px;line-height:1.35;margin:6px 0}
th,td{text-align:left;vertical-align:top;padding:5px 12px 5px 0;border-bottom:1px solid var(--grid)}
thead th{background:var(--shade);padding-left:0}
th:first-child,td:first-child{padding-left:6px}
tbody th[scope=rowgroup]{font-size:15px;padding-top:14px;border-bottom:1.5px solid var(--ink)}
tbody th[scope=row]{font-weight:normal}
figure{margin:0}
figure svg{display:block;width:100%;height:auto}
figcaption{margin:2px 0 4px}
figcaption strong{color:var(--ink);display:block;font-size:15px}
.plots{display:grid;grid-template-columns:repeat(auto-fill,minmax(320px,1fr));gap:22px 8px}
.kept+.plots{margin-top:22px}
figure.side{margin-bottom:22px}
.narrow{display:none}
dl.facts{display:grid;grid-template-columns:max-content 1fr;gap:2px 14px;font-size:14px}
dl.facts dt{color:var(--faint)}
dl.facts dd{margin:0;overflow-wrap:anywhere}
.swatch{vertical-align:middle;margin-right:7px}
thead .swatch{display:block;margin:2px 0}
dl.trades{display:grid;grid-template-columns:minmax(150px,max-content) 1fr;gap:4px 16px}
dl.trades dt{font-weight:bold;font-size:14px;max-width:220px}
dl.trades dd{margin:0}
.gain,.loss{display:flex;gap:7px}
.sign{flex:none;width:1.15em;height:1.15em;margin-top:.14em;line-height:1.05em;text-align:center;border:1.5px solid currentColor;border-radius:50%}
.gain .sign{color:var(--petrol)}.loss .sign{color:var(--rust)}
.beyond,.caution-line{color:var(--rust);font-weight:bold}
.hidden{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}
.small-head{font-weight:bold;margin:14px 0 2px}
.caution{border:2px solid var(--rust);border-radius:6px;padding:4px 14px 8px}
.caution h2{border:0;margin:6px 0;padding:0}
footer{color:var(--faint);font-size:13px}
";

/// Where a table's rows become blocks, each cell with its column's name before it.
const NARROW: &str = "
@media screen and (max-width:679px){
table,tbody,tr,th,td,caption{display:block;width:100%}
thead{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}
tr{padding:7px 0;border-bottom:1px solid var(--grid)}
th,td,th:first-child,td:first-child{border:0;padding:1px 0}
tbody th[scope=row]{font-weight:bold}
td[data-name]{display:grid;grid-template-columns:92px 1fr;gap:6px}
td[data-name]::before{content:attr(data-name);color:var(--faint);overflow-wrap:anywhere}
td:empty{display:none}
.wide{display:none}
.narrow{display:block}
.plots{grid-template-columns:1fr}
.plots figure{max-width:480px}
dl.facts,dl.trades{grid-template-columns:1fr}
dl.facts dd,dl.trades dd{margin:0 0 6px}
dl.trades dt{max-width:none}
}
";

const PRINT: &str = "
@page{margin:14mm 13mm}
@media print{
body{font-size:10.5pt}
main,footer{max-width:none;padding:0}
h1.verdict{font-size:16pt}
h2{font-size:13pt;margin-top:20pt}
h3{font-size:11pt}
table,.note,figcaption,.why,dl.facts{font-size:9.5pt}
figcaption strong{font-size:10pt}
footer{font-size:9pt}
thead{display:table-header-group}
tr,figure,li,.caution,dl.facts,.kept,.note{break-inside:avoid}
tbody.group tr:first-child,h1,h2,h3,h2+.note{break-after:avoid}
.plots{grid-template-columns:1fr 1fr;gap:12pt 10pt}
.kept+.plots{margin-top:12pt}
table+.note,dl+.note,.plots+.note{break-before:avoid}
.loads{break-before:page}
.small-head{break-after:avoid}
dl.trades{grid-template-columns:minmax(110pt,max-content) 1fr;font-size:9.5pt}
dl.trades dt{font-size:9.5pt}
dl.trades dd{break-inside:avoid}
*{-webkit-print-color-adjust:exact;print-color-adjust:exact}
}
";
