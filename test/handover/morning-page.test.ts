/** The morning page in a browser: what it says first, that names from outside stay names, and that everybody can read it. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { finding } from '../../findings/finding.ts';
import type { DayRoll } from '../../handover/day.ts';
import { morningPageOf } from '../../handover/page/morning-page.ts';
import type { Morning } from '../../handover/page/morning.ts';
import { overflowOf, reader, violationsOf } from '../support/browser.ts';
import { freshFolder } from '../support/folder.ts';
import { checksumDiffers, dayOf, HOSTILE, heldRoll, morningOf, readyRoll } from '../support/mornings.ts';

const open = reader();

function written(morning: Morning): string {
  const file = join(freshFolder('page'), 'morning.html');
  writeFileSync(file, morningPageOf(morning));
  return file;
}

const textOf =
  "(selector) => [...document.querySelectorAll(selector)].map((one) => one.textContent.replace(/\\s+/g, ' ').trim())";
const texts = (page: Awaited<ReturnType<typeof open>>, selector: string): Promise<string[]> =>
  page.evaluate<string[]>(`(${textOf})(${JSON.stringify(selector)})`);

test('a day with a roll held: the verdict first, then what to do about it, on which drive; without a violation of WCAG 2.2 AA', async () => {
  const rolls = [
    await readyRoll('A001', ['A001C001', 'A001C002']),
    heldRoll(await readyRoll('B002', ['B002C001']), [checksumDiffers('B002')]),
  ];
  const page = await open(written(morningOf(dayOf(rolls))));
  expect(await texts(page, 'h1')).toEqual(['1 of 2 rolls is ready. B002 is held.']);
  expect(await page.title()).toBe('day-07: 1 of 2 rolls is ready. B002 is held.');
  // The zone of the show: 05:05 is 04:05 in UTC, in winter.
  expect(await texts(page, '.eyebrow')).toEqual([
    'day-07, made from Monday 2026-11-30 22:12 Europe/Berlin to Tuesday 2026-12-01 05:05 Europe/Berlin',
  ]);
  const held = (await texts(page, '#held ~ .finding'))[0] ?? '';
  expect(held).toContain('Drivebackup-1 (/volumes/backup-1/day-07/B002)');
  expect(held).toContain('Foundxxh128 489928abb4eedf716f955189bf9a89ca');
  expect(held).toContain('Expectedxxh128 dea1236233504f9e285f1255e0c76a4c');
  expect(held).toContain('What to doCopy the file again from the card');
  expect(await texts(page, 'h2')).toEqual([
    'What is held, and what to do',
    'Rolls',
    'What differs from day-06',
    'What this rests on',
  ]);
  expect(await texts(page, 'figcaption strong')).toEqual(['A001C001', 'A001C002', 'B002C001']);
  expect(await violationsOf(page)).toEqual([]);
  for (const width of [320, 390, 1280]) {
    await page.setViewportSize({ width, height: 900 });
    expect(await overflowOf(page), `${width} pixels`).toBe(0);
  }
  await page.emulateMedia({ colorScheme: 'dark' });
  expect(await violationsOf(page)).toEqual([]);
  await page.context().close();
});

test('it asks for nothing, runs nothing, and refuses to run what is put into it', async () => {
  const page = await open(written(morningOf(dayOf([await readyRoll('A001', ['A001C001'])]))));
  const asked: string[] = [];
  page.on('request', (request) => asked.push(request.url().slice(0, 5)));
  await page.reload();
  expect(asked).toEqual(['file:']);
  // The pictures lie in the page, and are shown.
  expect(await page.evaluate('[...document.images].map((one) => one.naturalWidth)')).toEqual([320]);
  expect(await page.evaluate('document.scripts.length')).toBe(0);
  // As Content Security Policy Level 3 has it, without `unsafe-inline`.
  await page.evaluate(
    `document.body.insertAdjacentHTML('beforeend', '<img src="x" onerror="document.title=1"><p style="color: red">a</p>'); const script = document.createElement('script'); script.textContent = 'document.title = 2'; document.body.append(script)`,
  );
  await page.waitForTimeout(100);
  expect(await page.title()).toBe('day-07: The one roll is ready.');
  expect(
    await page.evaluate('getComputedStyle(document.body.lastElementChild.previousElementSibling).color'),
  ).not.toBe('rgb(255, 0, 0)');
  await page.context().close();
});

test('hostile names are text: markup, formulas, writing from right to left, halves of characters, very long ones', async () => {
  const base = await readyRoll('A001', [...HOSTILE]);
  const rolls = HOSTILE.map((name, index): DayRoll => {
    const roll = {
      ...base,
      roll: name,
      folder: `A00${index}`,
      profiles: [{ name, hash: `${index}`.repeat(64) }],
    };
    const [clip] = base.clips;
    if (clip === undefined) throw new Error('no clip');
    const clips = [{ ...clip, id: `c${index}`, name, roll: name, scene: name, shown: [name, `${name} `] }];
    const item = finding('file-checksum-differs', name, name, {
      roll: name,
      copy: `/volumes/${name}/day-07/${name}`,
      file: name,
      profile: name,
      clip: name,
    });
    return index % 2 === 0 ? { ...roll, clips } : heldRoll({ ...roll, clips }, [item]);
  });
  const morning = morningOf(
    { ...dayOf(rolls, 'Nowhere/<b>'), day: HOSTILE[0] },
    {
      differences: {
        before: HOSTILE[1],
        differences: HOSTILE.map((name) => ({
          what: name,
          profile: name,
          now: name,
          before: name,
          where: name,
          why: name,
        })),
      },
    },
  );
  const page = await open(written(morning));
  expect(await page.title()).toMatch(/^<script>document\.title="taken"<\/script>: 7 of 13 rolls are ready\./);
  expect(
    await page.evaluate(
      "[document.scripts.length, document.querySelectorAll('h1').length, document.images.length, document.querySelectorAll('[onerror], [onmouseover], b').length]",
    ),
  ).toEqual([0, 1, HOSTILE.length, 0]);
  const names = await texts(page, 'figcaption strong');
  expect(names.slice(0, 6)).toEqual(HOSTILE.slice(0, 6));
  expect(names[6]).toBe('\\u{202e}gpj.yadnoM\\u{2066}');
  expect(names[7]).toBe(HOSTILE[7]);
  expect(names[8]).toBe('half \\u{d83d} and \\x80 of a pair');
  expect(names[9]).toBe('line\\nbreak\\u{9}tab\\u{2028}separator\\u{0}null');
  for (const width of [320, 1280]) {
    await page.setViewportSize({ width, height: 900 });
    expect(await overflowOf(page), `${width} pixels`).toBe(0);
  }
  expect(await violationsOf(page)).toEqual([]);
  await page.context().close();
});
