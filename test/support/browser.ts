/**
 * The system's Chromium, as a reader has it. Where it is absent tests fail and name it: `npm test` installs it or prints the
 * command (setup/needs.mjs). One browser for each file of tests.
 */
import { accessSync, constants, readFileSync } from 'node:fs';
import { delimiter, join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { type Browser, type BrowserContextOptions, chromium, type Page } from 'playwright-core';
import { afterAll } from 'vitest';
import { packageFolder } from '../../files/installation.ts';

const NAMES = ['chromium', 'chromium-browser'];

function program(): string {
  const named = process.env.RUSHLIGHT_CHROMIUM ?? '';
  const places = (process.env.PATH ?? '')
    .split(delimiter)
    .flatMap((folder) => NAMES.map((name) => join(folder, name)));
  for (const place of named === '' ? places : [named]) {
    try {
      accessSync(place, constants.X_OK);
      return place;
    } catch {
      // Not here.
    }
  }
  throw new Error(
    'chromium is not on this machine: install it (Debian: apt-get install chromium) or name it with RUSHLIGHT_CHROMIUM',
  );
}

/** A file, or an address that begins with http. */
export type Open = (file: string, options?: BrowserContextOptions) => Promise<Page>;

/** Opens files and addresses as pages, in one browser that ends with the tests of the file. */
export function reader(): Open {
  let started: Promise<Browser> | undefined;
  afterAll(async () => {
    if (started !== undefined) await (await started).close();
  });
  return async (file, options = {}) => {
    // Root has no user namespaces of its own to build a sandbox from.
    started ??= chromium.launch({
      executablePath: program(),
      args: process.getuid?.() === 0 ? ['--no-sandbox'] : [],
    });
    const context = await (await started).newContext({ viewport: { width: 1280, height: 900 }, ...options });
    const page = await context.newPage();
    // Nothing may be fetched: whatever is asked for beside the file itself is written down.
    await page.goto(file.startsWith('http:') ? file : pathToFileURL(file).href, { waitUntil: 'load' });
    return page;
  };
}

const axe = readFileSync(join(packageFolder, 'node_modules', 'axe-core', 'axe.min.js'), 'utf8');

interface Violation {
  readonly id: string;
  readonly nodes: readonly { readonly html: string; readonly failureSummary?: string }[];
}

/** What axe-core finds against WCAG 2.2, levels A and AA, and against good habits; one line each. */
export async function violationsOf(page: Page): Promise<string[]> {
  await page.evaluate(axe);
  const violations = await page.evaluate<readonly Violation[]>(
    `axe.run(document, { resultTypes: ['violations'], runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }).then(({ violations }) => violations.map(({ id, nodes }) => ({ id, nodes: nodes.map(({ html, failureSummary }) => ({ html, failureSummary })) })))`,
  );
  return violations.flatMap(({ id, nodes }) =>
    nodes.map(({ html, failureSummary }) => `${id}: ${html.slice(0, 160)} ${failureSummary ?? ''}`),
  );
}

/** How much wider the page is than its window, pixels: WCAG 2.2, 1.4.10 (reflow) wants none down to 320. */
export const overflowOf = (page: Page): Promise<number> =>
  page.evaluate<number>('document.documentElement.scrollWidth - document.documentElement.clientWidth');
