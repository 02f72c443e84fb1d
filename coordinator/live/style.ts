/** What the live page has beside the style of all pages. Nothing moves, whatever the reader prefers. */
import { style } from '../../handover/page/style.ts';

export const liveStyle = `${style}
h1 { font-size: clamp(1.6rem, 1.1rem + 2.2vw, 2.5rem); }
.line:empty, .news:empty, .quiet:empty { display: none; }
.line, .quiet { margin: 0.8rem 0; padding: 0.5rem 0.9rem; border-left: 4px solid var(--held); background: var(--panel); }
.news { margin: 0.8rem 0; padding: 0.5rem 0.9rem; border-left: 1px solid var(--rule); background: var(--panel); }
button { min-height: 2.75rem; padding: 0.4rem 1rem; border: 1px solid var(--soft); border-radius: 3px; background: var(--panel); color: var(--ink); font: inherit; font-family: system-ui, -apple-system, "Segoe UI", "Noto Sans", "Liberation Sans", "DejaVu Sans", sans-serif; font-size: 0.95rem; cursor: pointer; }
[hidden] { display: none !important; }
.rows { margin: 0.4rem 0; padding: 0; list-style: none; font-family: system-ui, -apple-system, "Segoe UI", "Noto Sans", "Liberation Sans", "DejaVu Sans", sans-serif; font-size: 0.95rem; }
.rows li { display: grid; grid-template-columns: minmax(6rem, 11rem) minmax(0, 1fr) 9rem; gap: 0.2rem 1.2rem; align-items: baseline; padding: 0.45rem 0; border-bottom: 1px solid var(--rule); }
.rows strong { font-weight: 600; }
.rows .of { color: var(--soft); font-weight: 400; }
.rows li[data-phase="held"] .state { color: var(--held); font-weight: 650; }
.rows li[data-phase="ready"] .state { color: var(--ready); font-weight: 650; }
progress { width: 100%; height: 0.5rem; appearance: none; border: 0; border-radius: 0; background: var(--rule); align-self: center; }
progress::-webkit-progress-bar { background: var(--rule); }
progress::-webkit-progress-value { background: var(--link); }
progress::-moz-progress-bar { background: var(--link); }
.option { white-space: nowrap; }
.finding h3 { margin-top: 0; }
.held { margin: 0; padding: 0; list-style: none; }
.still { margin: 0; max-width: 40rem; }
.commands dt { font-weight: 600; margin-top: 0.8rem; }
.commands dd { margin: 0.2rem 0 0; }
@media (min-width: 62rem) {
  .now { display: grid; grid-template-columns: minmax(0, 1fr) minmax(0, 26rem); gap: 0 3rem; align-items: start; }
}
@media (max-width: 40rem) {
  h2 { margin-top: 2.2rem; }
  .facts dd { font-size: 1rem; }
  .rows li { grid-template-columns: minmax(0, 1fr); }
}
`;
