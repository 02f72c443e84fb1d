/**
 * What runs in the page. It puts texts where the page has a place for them (`data-text`, `data-cell`), never markup, and adds and moves rows
 * made from the page's own templates; what the places are, `page.ts` says. Without it the page shows how things stood when it was loaded.
 */
export const script = `'use strict';
(() => {
  // Nothing heard for so long: said; and for so long: asked again. The server gives a sign every ten seconds.
  const SAID = 14000, ASKED = 25000, AGAIN = 5000;
  const body = document.body;
  const line = document.getElementById('line');
  const button = document.getElementById('pause');
  const places = new Map();
  for (const place of document.querySelectorAll('[data-text]')) {
    const key = place.dataset.text;
    places.set(key, [...(places.get(key) ?? []), place]);
  }
  const lists = new Map();
  for (const list of document.querySelectorAll('[data-list]')) {
    const key = list.dataset.list;
    lists.set(key, { list, template: document.getElementById('row-' + key), rows: new Map() });
  }
  const dependent = [...document.querySelectorAll('[data-with]')];
  const texts = new Map();
  let source = null, last = null, heardAt = Date.now(), askedAt = 0, lost = false, refused = false, paused = false;

  const two = (number) => String(number).padStart(2, '0');
  const clock = (at) => { const time = new Date(at); return two(time.getHours()) + ':' + two(time.getMinutes()); };
  const say = (text) => { if (line.textContent !== text) line.textContent = text; };

  const put = (place, value) => {
    if (place.localName === 'progress') {
      place.hidden = value === '';
      if (value !== '') place.value = Number(value);
    } else if (place.localName === 'img') {
      if (value === '') place.removeAttribute('src');
      else if (place.getAttribute('src') !== value) place.src = value;
    } else if (place.dataset.prose !== undefined) {
      // What stands in backticks is typed.
      place.replaceChildren(...value.split('\\u0060').map((part, index) => {
        if (index % 2 === 0) return part;
        const code = document.createElement('code');
        code.textContent = part;
        return code;
      }));
    } else if (place.textContent !== value) place.textContent = value;
  };
  const putTexts = (given) => {
    for (const [key, value] of Object.entries(given)) {
      texts.set(key, value);
      for (const place of places.get(key) ?? []) put(place, value);
      if (key === 'title') document.title = value;
      else if (key === 'state') body.dataset.state = value;
      else if (key === 'still-alt') for (const place of places.get('still') ?? []) place.alt = value;
    }
  };
  const putCells = (row, cells) => {
    for (const place of row.querySelectorAll('[data-cell]')) {
      const value = cells[place.dataset.cell];
      if (value !== undefined) put(place, value);
    }
    for (const place of row.querySelectorAll('[data-with-cell]')) {
      const value = cells[place.dataset.withCell];
      if (value !== undefined) place.hidden = value === '';
    }
    if (cells.phase !== undefined) row.dataset.phase = cells.phase;
  };
  const putList = (key, order, cells) => {
    const known = lists.get(key);
    if (known === undefined) return;
    for (const [row, given] of Object.entries(cells ?? {})) {
      if (!known.rows.has(row)) known.rows.set(row, known.template.content.firstElementChild.cloneNode(true));
      putCells(known.rows.get(row), given);
    }
    if (order === undefined) return;
    const wanted = new Set(order);
    for (const [row, element] of known.rows)
      if (!wanted.has(row)) { element.remove(); known.rows.delete(row); }
    order.forEach((row, index) => {
      const element = known.rows.get(row), there = known.list.children[index] ?? null;
      if (element !== there) known.list.insertBefore(element, there);
    });
  };
  const fold = () => {
    for (const place of dependent)
      place.hidden = !place.dataset.with.split(' ').some((key) =>
        lists.has(key) ? lists.get(key).rows.size > 0 : (texts.get(key) ?? '') !== '');
  };
  const whole = ({ number, texts: given, lists: rows }) => {
    last = number;
    putTexts(given);
    for (const [key, list] of Object.entries(rows)) {
      const known = lists.get(key);
      if (known !== undefined && known.rows.size === 0) known.list.replaceChildren();
      putList(key, list.map((row) => row.key), Object.fromEntries(list.map((row) => [row.key, row.cells])));
    }
    fold();
  };
  const changes = ({ number, texts: given, lists: rows }) => {
    if (number !== last + 1) { ask(); return; }
    last = number;
    if (given !== undefined) putTexts(given);
    for (const [key, { order, rows: cells }] of Object.entries(rows ?? {})) putList(key, order, cells);
    fold();
  };
  const heard = () => {
    heardAt = Date.now();
    if (lost) { lost = false; say(''); }
  };
  const isOver = () => ['ended', 'interrupted', 'stopped'].includes(body.dataset.state);
  const lose = () => {
    if (paused) return;
    lost = true;
    say(isOver()
      ? 'The run is over, and nothing more is sent. This page goes on when a run does.'
      : refused
      ? 'This page has been refused since ' + clock(heardAt) + '. Type the whole address that the run printed when it was last started.'
      : 'Nothing has been heard since ' + clock(heardAt) + '. What is shown may be old. Trying again.');
  };
  const close = () => { if (source !== null) source.close(); source = null; };
  const ask = () => {
    close();
    if (paused) return;
    askedAt = Date.now();
    source = new EventSource('/events');
    const on = (name, then) => source.addEventListener(name, (event) => { then(JSON.parse(event.data)); heard(); });
    on('whole', whole);
    on('changes', changes);
    on('tick', () => {});
    source.addEventListener('end', lose);
    source.addEventListener('open', () => { refused = false; });
    // A server that is gone is asked again by the browser; one that answers and refuses is not.
    source.addEventListener('error', () => { if (source !== null && source.readyState === EventSource.CLOSED) refused = true; });
  };
  setInterval(() => {
    if (paused) return;
    const now = Date.now();
    if (now - heardAt > SAID) lose();
    // One that was refused does not come back by itself, and one that hangs does not know it.
    const isGone = source === null || source.readyState === EventSource.CLOSED;
    if (now - askedAt > (isGone ? AGAIN : ASKED) && (isGone || now - heardAt > ASKED)) ask();
  }, AGAIN);
  document.addEventListener('visibilitychange', () => {
    if (document.visibilityState === 'visible' && Date.now() - heardAt > SAID) ask();
  });
  button.addEventListener('click', () => {
    paused = !paused;
    button.textContent = paused ? 'Go on updating' : 'Stop updating';
    if (paused) { close(); lost = false; say('Not updated since ' + clock(Date.now()) + '. The run goes on.'); }
    else { say(''); ask(); }
  });
  button.hidden = false;
  ask();
})();
`;
