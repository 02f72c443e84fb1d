/**
 * The live page as it is when it is loaded: the same places that the script puts later texts into, filled from the same view. Pure.
 * `data-text`, `data-cell`: a place for a text. `data-with`: there only when one of these texts or lists is. `row-…`: how a row is made.
 */
import { prose } from '../../handover/page/document.ts';
import { Markup, markup, type Piece } from '../../handover/page/markup.ts';
import { OUR_MARK } from '../../handover/write-own.ts';
import { policyOf } from '../../serve/headers.ts';
import { script } from './script.ts';
import { liveStyle } from './style.ts';
import type { Row, View } from './view.ts';

export const livePolicy = policyOf({
  styles: [liveStyle],
  scripts: [script],
  images: ["'self'", 'data:'],
  connects: true,
});

const shut = (isShut: boolean): Markup | null => (isShut ? markup` hidden` : null);

type Cells = Row['cells'];

const bar = ({ share = '' }: Cells): Markup =>
  share === ''
    ? markup`<progress data-cell="share" max="1" value="0" aria-hidden="true" hidden></progress>`
    : markup`<progress data-cell="share" max="1" value="${share}" aria-hidden="true"></progress>`;

const workingRow = (cells: Cells): Markup =>
  markup`<li><strong><bdi data-cell="clip">${cells.clip ?? ''}</bdi> <span class="of">of <bdi data-cell="roll">${cells.roll ?? ''}</bdi></span></strong><span data-cell="text">${cells.text ?? ''}</span>${bar(cells)}</li>`;

const rollRow = (cells: Cells): Markup =>
  markup`<li data-phase="${cells.phase ?? ''}"><strong><bdi data-cell="roll">${cells.roll ?? ''}</bdi></strong><span class="state" data-cell="text">${cells.text ?? ''}</span>${bar(cells)}</li>`;

const heldRow = (cells: Cells): Markup =>
  markup`<li class="finding"><h3><bdi data-cell="roll">${cells.roll ?? ''}</bdi>: <span data-cell="title">${cells.title ?? ''}</span></h3>
<dl><dt data-with-cell="where"${shut((cells.where ?? '') === '')}>Where</dt><dd data-with-cell="where"${shut((cells.where ?? '') === '')}><bdi data-cell="where">${cells.where ?? ''}</bdi></dd><dt>Found</dt><dd><bdi data-cell="found">${cells.found ?? ''}</bdi></dd><dt>Expected</dt><dd><bdi data-cell="expected">${cells.expected ?? ''}</bdi></dd><dt>What to do</dt><dd class="do" data-cell="remedy" data-prose>${prose(cells.remedy ?? '')}</dd><dt data-with-cell="more"${shut((cells.more ?? '') === '')}>Also</dt><dd data-with-cell="more"${shut((cells.more ?? '') === '')} data-cell="more">${cells.more ?? ''}</dd></dl>
<p class="small">Code <code data-cell="code">${cells.code ?? ''}</code></p></li>`;

const rowsOf = { working: workingRow, rolls: rollRow, held: heldRow } as const;

function listOf(view: View, list: keyof typeof rowsOf, kind: string, label: string): Markup {
  const row = rowsOf[list];
  // With list-style: none, Safari's reader takes it for no list, unless its role is said.
  return markup`<ul class="${kind}" role="list" aria-label="${label}" data-list="${list}">
${(view.lists[list] ?? []).map(({ cells }) => row(cells))}</ul>
<template id="row-${list}">${row({})}</template>`;
}

export function livePageOf(view: View): string {
  const text = (key: string): string => view.texts[key] ?? '';
  const isThere = (keys: string): boolean =>
    keys.split(' ').some((key) => (view.lists[key]?.length ?? 0) > 0 || text(key) !== '');
  const only = (keys: string): Markup => markup` data-with="${keys}"${shut(!isThere(keys))}`;
  const fact = (term: string, key: string): Markup =>
    markup`<div${only(key)}><dt>${term}</dt><dd data-text="${key}">${text(key)}</dd></div>`;
  const fold = (phase: string): Markup =>
    markup`<details${only(`${phase}-count`)}><summary data-text="${phase}-count">${text(`${phase}-count`)}</summary><p><bdi data-text="${phase}-names">${text(`${phase}-names`)}</bdi></p></details>`;
  const typed = (term: Piece, key: string, says: Piece, option: Piece = null): Markup =>
    markup`<div${only(key)}><dt>${term}</dt><dd><code dir="ltr"><span data-text="${key}">${text(key)}</span>${option === null ? null : markup` <span class="option">${option}</span>`}</code>${says}</dd></div>`;
  const still = text('still');
  return markup`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta name="generator" content="${OUR_MARK}">
<meta name="referrer" content="no-referrer">
<link rel="icon" href="data:,">
<title>${text('title')}</title>
<style>${new Markup(liveStyle)}</style>
</head>
<body data-state="${text('state')}">
<a class="skip" href="#now">Skip to: what goes on</a>
<header>
<p class="eyebrow"><bdi data-text="day">${text('day')}</bdi></p>
<h1><bdi data-text="headline">${text('headline')}</bdi></h1>
<p class="lede" data-text="lede">${text('lede')}</p>
<p class="quiet" data-text="quiet">${text('quiet')}</p>
<p class="line" id="line" role="status"></p>
<p class="news" role="status" data-text="news">${text('news')}</p>
<noscript><p class="line">Without script this page does not change. Load it again to see how things are.</p></noscript>
<dl class="facts">
${fact('Rolls ready', 'ready')}
${fact('Speed', 'speed')}
${fact('Free on the delivery', 'free')}
${fact('At work since', 'since')}
</dl>
<p${only('morning-here')}><a href="/day/handover/morning.html" data-text="morning-here">${text('morning-here')}</a></p>
<p${only('morning')} class="small">To open in the morning: <code dir="ltr" data-text="morning">${text('morning')}</code></p>
<p><button type="button" id="pause" hidden>Stop updating</button></p>
</header>
<main id="now" tabindex="-1">
<div class="now">
<section aria-labelledby="in-hand"${only('working idle')}>
<h2 id="in-hand">In hand</h2>
<p data-text="idle">${text('idle')}</p>
${listOf(view, 'working', 'rows', 'Clips in hand')}
<p class="small" data-text="working-more">${text('working-more')}</p>
</section>
<section aria-labelledby="newest"${only('still')}>
<h2 id="newest" data-text="still-title">${text('still-title')}</h2>
<figure class="still"><div class="frame"><img data-text="still"${still === '' ? null : markup` src="${still}"`} alt="${text('still-alt')}"></div>
<figcaption><bdi data-text="still-of">${text('still-of')}</bdi> <span data-text="still-note">${text('still-note')}</span></figcaption></figure>
</section>
</div>
<section aria-labelledby="held"${only('held')}>
<h2 id="held">Held so far, and what to do</h2>
${listOf(view, 'held', 'held', 'What is held')}
</section>
<section aria-labelledby="rolls"${only('rolls')}>
<h2 id="rolls">Rolls</h2>
<p class="small" data-text="rolls-more">${text('rolls-more')}</p>
${listOf(view, 'rolls', 'rows', 'Rolls')}
${fold('waiting')}
${fold('held')}
${fold('ready')}
</section>
<section aria-labelledby="type"${only('stop watch again retry')}>
<h2 id="type">What you can type</h2>
<p class="small">This page changes nothing. These do, on the machine that runs it.</p>
<dl class="commands">
${typed('Stop, when the clips in hand are made', 'stop', markup` (or Ctrl-C once in its terminal). Twice stops at once. The same command again makes what is missing.`)}
<div${only('retry')}><dt>A held roll, once its remedy is done</dt><dd>the command that started this run, and <code class="option">--roll</code> with its name</dd></div>
<div${only('first')}><dt>A roll before all others</dt><dd>stop, then the command that started this run, and <code class="option">--first</code> with its name</dd></div>
${typed('The same in a terminal', 'watch', null, '--watch')}
${typed('This page once more, with the morning page', 'again', null, '--page')}
</dl>
</section>
</main>
<footer>
<p>It shows what the run writes of itself, and the records of its rolls. Commands are written as <code>rushlight …</code>: type them as you typed the one that made this.</p>
<p>Never reformat a card on this page’s word alone: it does not know how many copies your production asks for, nor where they are.</p>
</footer>
<script>${new Markup(script)}</script>
</body>
</html>
`.text;
}
