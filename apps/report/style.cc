#include "apps/report/style.h"

namespace seamwright::report {

std::string_view style_sheet() {
  return R"css(:root { --paper: #ffffff; --ink: #1d2327; --soft: #56616b; --grid: #dfe4e8; --card: #f4f6f8;
  --one: #31688e; --two: #1a7f4b; --three: #b3341f; --four: #2450b8; --good: #1a7f4b; --poor: #b3541f; }
@media (prefers-color-scheme: dark) {
  :root { --paper: #14181c; --ink: #e6eaed; --soft: #a3adb6; --grid: #343c44; --card: #1e242a;
    --one: #6fb1dc; --two: #6ece58; --three: #ff8d75; --four: #8fb0ff; --good: #6ece58; --poor: #f5b36b; }
}
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink);
  font: 17px/1.55 system-ui, "Segoe UI", "Helvetica Neue", "DejaVu Sans", sans-serif; }
main { max-width: 70rem; margin: 0 auto; padding: 1.2rem clamp(1rem, 4vw, 2.5rem) 3rem; }
h1 { font-size: clamp(1.5rem, 4vw, 2.2rem); line-height: 1.2; margin: .6rem 0 .2rem; overflow-wrap: anywhere; }
h2 { font-size: 1.25rem; margin: 2.4rem 0 .5rem; padding-top: .8rem; border-top: 1px solid var(--grid); }
p { margin: .5rem 0; max-width: 44rem; }
.lead { font-size: 1.15rem; }
.summary { background: var(--card); border-left: .4rem solid var(--good); border-radius: .3rem;
  padding: .8rem 1.1rem; margin: 1rem 0; }
.summary.noted { border-color: var(--poor); }
.summary p { margin: .2rem 0; }
.facts { display: grid; grid-template-columns: repeat(auto-fit, minmax(9rem, 1fr)); gap: .7rem;
  margin: 1.2rem 0; padding: 0; list-style: none; }
.facts li { background: var(--card); border-radius: .3rem; padding: .6rem .8rem; color: var(--soft);
  font-size: .88rem; line-height: 1.35; }
.facts b { display: block; font-size: 1.35rem; color: var(--ink); font-variant-numeric: tabular-nums; }
.pair { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 25rem), 1fr)); gap: 1rem 2rem; }
figure { margin: .8rem 0; min-width: 0; }
figure svg { display: block; width: 100%; max-width: 38rem; height: auto; }
figure img { display: block; width: 100%; max-width: 60rem; height: auto; border-radius: .3rem; }
figcaption { color: var(--soft); font-size: .92rem; max-width: 38rem; }
.scroll { overflow-x: auto; margin: .8rem 0; }
table { border-collapse: collapse; font-size: .92rem; font-variant-numeric: tabular-nums; }
caption { text-align: left; color: var(--soft); padding-bottom: .3rem; width: min(44rem, calc(100vw - 2.5rem)); }
th, td { padding: .25rem .8rem .25rem 0; text-align: left; border-bottom: 1px solid var(--grid);
  vertical-align: top; }
thead th { white-space: nowrap; }
tbody th { font-weight: 500; white-space: nowrap; }
.n { text-align: right; white-space: nowrap; }
svg { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
.t { fill: var(--ink); font-size: 13px; }
.small { fill: var(--ink); font-size: 11px; }
.on { fill: #f2f5f7; font-size: 13px; }
.g { stroke: var(--grid); }
.x { stroke: var(--soft); }
.s { fill: none; stroke-width: 2.2; stroke-linejoin: round; }
.s0 { stroke: var(--one); } .s1 { stroke: var(--two); stroke-dasharray: 7 4; }
.s2 { stroke: var(--three); } .s3 { stroke: var(--four); stroke-dasharray: 7 4; }
.b { opacity: .22; }
.b0 { fill: var(--one); } .b1 { fill: var(--two); } .b2 { fill: var(--three); } .b3 { fill: var(--four); }
.bar { fill: var(--one); }
.disc { fill: #20272e; stroke: var(--soft); }
.ring { fill: none; stroke: #56616b; }
.arrows line { stroke-width: 1.6; stroke-linecap: round; }
.none { fill: var(--grid); }
.stand { fill: var(--one); }
.way { stroke: var(--one); stroke-width: 2.5; stroke-linecap: round; }
.unsure { fill: var(--one); opacity: .2; }
@media print {
  body { font-size: 11pt; } main { max-width: none; padding: 0; }
  figure, tr, .summary { break-inside: avoid; } h2 { break-after: avoid; }
}
)css";
}

}  // namespace seamwright::report
