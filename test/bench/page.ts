/** The morning page of 300 clips, a picture each, opened in the system's Chromium: its size, and how long until all of it is there. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { chromium } from 'playwright-core';
import { morningPageOf } from '../../handover/page/morning-page.ts';
import { pictureKey } from '../../handover/page/morning.ts';
import { boxFor, packed } from '../../handover/page/room.ts';
import { dayOf, morningOf, pictureWithDetail, readyRoll } from '../support/mornings.ts';
import type { BenchLine } from './line.ts';
import { median } from './median.ts';

const CLIPS = 300;
const TIMES = 5;

const program = (): string =>
  process.env.RUSHLIGHT_CHROMIUM ??
  execFileSync('sh', ['-c', 'command -v chromium || command -v chromium-browser'], {
    encoding: 'utf8',
  }).trim();

async function writePage(file: string): Promise<void> {
  const names = Array.from({ length: CLIPS }, (_, index) => `A001C${String(index + 1).padStart(3, '0')}`);
  const box = boxFor(CLIPS);
  if (box === null) throw new Error(`no room for ${CLIPS} pictures`);
  const files = packed(names.map((_, index) => pictureWithDetail(box.width, box.height, index))) ?? [];
  const pictures = new Map(
    names.map((name, index) => [
      pictureKey('A001', name),
      { base64: files[index] ?? '', ...box, timecode: null },
    ]),
  );
  writeFileSync(file, morningPageOf(morningOf(dayOf([await readyRoll('A001', names)]), { pictures })));
}

interface Opened {
  /** To the end of its load event: it is there to be read, and what is seen of it is drawn. */
  readonly loaded: number;
  /** To the last of all pictures, most of which lie below the window. */
  readonly decoded: number;
}

/** Milliseconds of the browser's own clock, from the start of the navigation. */
async function opened(file: string): Promise<Opened[]> {
  const browser = await chromium.launch({ executablePath: program() });
  try {
    const took: Opened[] = [];
    for (let time = 0; time < TIMES; time += 1) {
      const page = await browser.newPage({ viewport: { width: 1280, height: 900 } });
      await page.goto(pathToFileURL(file).href, { waitUntil: 'load' });
      const loaded = await page.evaluate<number>(
        "performance.getEntriesByType('navigation')[0].loadEventEnd",
      );
      const decoded = await page.evaluate<number>(
        'Promise.all([...document.images].map((one) => one.decode())).then(() => performance.now())',
      );
      took.push({ loaded, decoded });
      await page.close();
    }
    return took;
  } finally {
    await browser.close();
  }
}

export async function benchPage(): Promise<BenchLine[]> {
  const folder = mkdtempSync(join(tmpdir(), 'rushlight-bench-'));
  try {
    const file = join(folder, 'morning.html');
    await writePage(file);
    const { size } = statSync(file);
    const took = await opened(file);
    const milliseconds = median(took.map(({ loaded }) => loaded));
    return [
      {
        name: `morning page of ${CLIPS} clips, a picture each`,
        measured: `${(size / 1e6).toFixed(2)} MB`,
        target: 'under 6 MB',
        passed: size < 6_000_000,
      },
      {
        name: 'opening it, to the end of its load',
        measured: `${milliseconds.toFixed(0)} ms`,
        target: 'under 1000 ms',
        passed: milliseconds < 1000,
      },
      {
        name: 'the same, to the last of its pictures',
        measured: `${median(took.map(({ decoded }) => decoded)).toFixed(0)} ms`,
        target: 'none',
        passed: null,
      },
    ];
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
