/** How our pages look: type on paper, two colours of ink. No colour says anything that a word does not say. */

export const style = `
:root {
  color-scheme: light dark;
  --paper: #fbfaf6; --panel: #f3f1ea; --ink: #1e1c19; --soft: #5c574e; --rule: #d9d4c8;
  --held: #95231a; --ready: #2a5a3d; --link: #1f4d7a;
}
@media screen and (prefers-color-scheme: dark) {
  :root {
    --paper: #1a1917; --panel: #23211e; --ink: #ece7dd; --soft: #aaa398; --rule: #3d3a34;
    --held: #f2a094; --ready: #a3cfb0; --link: #9dc3e6;
  }
}
* { box-sizing: border-box; }
html { -webkit-text-size-adjust: 100%; text-size-adjust: 100%; }
body {
  margin: 0 auto; padding: 2.5rem clamp(1.1rem, 4vw, 3.5rem) 4rem; max-width: 78rem;
  background: var(--paper); color: var(--ink);
  font: 1.0625rem/1.55 "Iowan Old Style", "Palatino Linotype", Palatino, P052, "Noto Serif", Georgia, serif;
  font-variant-numeric: lining-nums tabular-nums; overflow-wrap: anywhere;
}
h1, h2, h3, h4 { line-height: 1.2; font-weight: 600; text-wrap: balance; }
h1 { margin: 0.3rem 0 0.8rem; font-size: clamp(1.8rem, 1.2rem + 2.6vw, 3rem); font-weight: 500; letter-spacing: -0.01em; max-width: 24em; }
h2 { margin: 3.2rem 0 1.1rem; padding-top: 0.9rem; border-top: 1px solid var(--rule); font-size: 1.45rem; }
h3 { margin: 2.2rem 0 0.3rem; font-size: 1.2rem; }
h4 { margin: 0 0 0.5rem; font-size: 1.0625rem; }
p { margin: 0.4rem 0; max-width: 44em; }
a { color: var(--link); text-underline-offset: 0.18em; }
:focus-visible { outline: 3px solid var(--link); outline-offset: 3px; border-radius: 2px; }
.skip { position: absolute; left: -999rem; }
.skip:focus { position: static; display: inline-block; margin-bottom: 1rem; }
.eyebrow, .lede, .small, dl, table, figcaption, nav, footer, summary, .meta {
  font-family: system-ui, -apple-system, "Segoe UI", "Noto Sans", "Liberation Sans", "DejaVu Sans", sans-serif;
}
.eyebrow { margin: 0; color: var(--soft); font-size: 0.9rem; }
.lede { font-size: 1.05rem; color: var(--ink); }
.small, .meta, nav, footer { font-size: 0.9rem; color: var(--soft); }
code { font-family: ui-monospace, "SF Mono", "Cascadia Mono", "Noto Sans Mono", "DejaVu Sans Mono", monospace; font-size: 0.88em; unicode-bidi: isolate; }
nav ul { display: flex; flex-wrap: wrap; gap: 0.3rem 1.6rem; margin: 1.4rem 0 0; padding: 0; list-style: none; }
nav a { display: inline-block; padding: 0.25rem 0; }
.facts { display: grid; grid-template-columns: repeat(auto-fit, minmax(8.5rem, 1fr)); gap: 0.9rem 2rem; margin: 1.8rem 0 0; max-width: 60rem; }
.facts div { border-top: 1px solid var(--rule); padding-top: 0.5rem; }
.facts dt { font-size: 0.85rem; color: var(--soft); }
.facts dd { margin: 0; font-size: 1.15rem; }
.is-held { color: var(--held); font-weight: 650; }
.is-ready { color: var(--ready); font-weight: 650; }
.finding { margin: 1rem 0 1.6rem; padding: 0.1rem 0 0.1rem 1.1rem; border-left: 4px solid var(--held); max-width: 58rem; }
.finding.note { border-left: 1px solid var(--rule); }
.finding dl { display: grid; grid-template-columns: 7.5rem minmax(0, 1fr); gap: 0.3rem 1rem; margin: 0; font-size: 0.95rem; }
.finding dt { color: var(--soft); }
.finding dd { margin: 0; }
.finding dd.do { font-weight: 600; }
.finding hr { grid-column: 1 / -1; width: 100%; margin: 0.2rem 0; border: 0; border-top: 1px solid var(--rule); }
table { width: 100%; border-collapse: collapse; font-size: 0.95rem; }
caption { text-align: left; padding-bottom: 0.4rem; color: var(--soft); font-size: 0.9rem; }
th, td { padding: 0.45rem 1rem 0.45rem 0; border-bottom: 1px solid var(--rule); text-align: left; vertical-align: top; font-weight: 400; }
thead th { color: var(--soft); font-size: 0.85rem; }
tbody th { font-weight: 600; }
td.word, th.word { white-space: nowrap; overflow-wrap: normal; }
td.number, th.number { text-align: right; white-space: nowrap; overflow-wrap: normal; }
.roll { margin-top: 1.6rem; padding-top: 0.2rem; }
.roll h3 { margin-top: 0; font-size: 1.35rem; }
.roll .clips { margin-top: 1rem; }
@media (min-width: 60rem) {
  .roll { display: grid; grid-template-columns: 17rem minmax(0, 1fr); gap: 0 2.6rem; align-items: start; border-top: 1px solid var(--rule); padding-top: 1.1rem; }
  .roll .clips { margin-top: 0.2rem; }
}
.clips { display: grid; grid-template-columns: repeat(auto-fill, minmax(12.5rem, 1fr)); gap: 1.6rem 1.4rem; margin: 1rem 0 0; padding: 0; list-style: none; }
figure { margin: 0; }
.frame { display: grid; place-items: center; aspect-ratio: 16 / 9; background: var(--panel); overflow: hidden; }
.frame img { display: block; max-width: 100%; max-height: 100%; width: 100%; height: 100%; object-fit: contain; }
.frame p { color: var(--soft); font-size: 0.85rem; }
figcaption { padding-top: 0.45rem; font-size: 0.88rem; line-height: 1.45; color: var(--soft); }
figcaption strong { display: block; color: var(--ink); font-size: 0.95rem; font-weight: 600; }
details { border-bottom: 1px solid var(--rule); padding: 0.15rem 0; }
summary { padding: 0.5rem 0; cursor: pointer; font-weight: 600; }
details > :not(summary) { margin-top: 0.4rem; margin-bottom: 1.2rem; }
.plain { margin: 0.4rem 0; padding-left: 1.2rem; max-width: 52em; }
.plain li { margin: 0.35rem 0; }
footer { margin-top: 3.5rem; padding-top: 0.9rem; border-top: 1px solid var(--rule); }
@media (max-width: 40rem) {
  body { padding-top: 1.4rem; }
  .finding { padding-left: 0.8rem; }
  .finding dl { grid-template-columns: minmax(0, 1fr); gap: 0; }
  .finding dd { margin-bottom: 0.5rem; }
  .facts { grid-template-columns: repeat(2, minmax(0, 1fr)); gap: 0.8rem 1.2rem; }
  .clips { grid-template-columns: repeat(auto-fill, minmax(9.5rem, 1fr)); gap: 1.2rem 0.9rem; }
  th, td { padding-right: 0.6rem; }
}
@media print {
  @page { margin: 14mm 14mm 16mm; }
  :root { font-size: 11.5px; }
  body { padding: 0; max-width: none; background: none; }
  nav, .skip { display: none; }
  h1 { font-size: 2.4rem; }
  h2 { margin-top: 1.8rem; }
  h2, h3, h4, summary, caption, thead { break-after: avoid; }
  .finding, .clips li, tr { break-inside: avoid; }
  .roll { display: grid; grid-template-columns: 13rem minmax(0, 1fr); gap: 0 1.6rem; border-top: 1px solid var(--rule); padding-top: 0.8rem; margin-top: 0.8rem; }
  .clips { grid-template-columns: repeat(4, 1fr); gap: 0.9rem; }
  a { color: inherit; text-decoration: none; }
  /* Paper cannot be unfolded. */
  details::details-content { content-visibility: visible; block-size: auto; opacity: 1; }
}
`;
