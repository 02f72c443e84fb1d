/** The guides say what is so: their commands exist and do what the page expects, their links and pictures are there, their codes are in the registry. */
import { spawnSync } from 'node:child_process';
import { cpSync, existsSync, mkdirSync, readdirSync, readFileSync, statSync, writeFileSync } from 'node:fs';
import { dirname, join, posix } from 'node:path';
import { describe, expect, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import { findingCodes } from '../../findings/registry.ts';
import { builtInNames } from '../../profiles/load.ts';
import { commandProcess } from '../support/cli.ts';
import {
  commandLinesOf,
  everyOption,
  faultOf,
  fencedBlocksOf,
  shellLinesOf,
} from '../support/command-lines.ts';
import { copyDay } from '../support/day.ts';
import { delivered, makeDelivered } from '../support/delivered.ts';
import { sharedFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';

const runCommand = commandProcess();

/** In the order in which a production reads them: what one leaves on the drives, the next finds there. */
const guides = [
  'dit.md',
  'editor.md',
  'finishing-artist.md',
  'producer.md',
  'what-happens-when.md',
  'choosing-profiles.md',
  'farm-operator.md',
];
const guide = join('docs', 'guide');
const read = (page: string): string => readFileSync(join(packageFolder, page), 'utf8');
const linesOf = (page: string): string[] =>
  fencedBlocksOf(read(join(guide, page)))
    .filter(({ language }) => language === 'sh')
    .flatMap(({ text }) => shellLinesOf(text));
const ours = (line: string): boolean => line.startsWith('rushlight ');

test('every guide is here', () => {
  expect(
    readdirSync(join(packageFolder, guide))
      .filter((name) => name.endsWith('.md'))
      .sort(),
  ).toEqual([...guides].sort());
});

/** Programs of others that guides call. */
const ofOthers = /^(?:cd|df|export|openssl|sha256sum)$/;

describe.each(guides)('%s', (page) => {
  const text = read(join(guide, page));

  test('every block says what it is, and commands are in blocks of commands alone', () => {
    const blocks = fencedBlocksOf(text);
    // Each fence that opens is one that was read.
    expect([...text.matchAll(/^ *```/gm)]).toHaveLength(2 * blocks.length);
    expect(blocks.filter(({ language }) => !['sh', 'yaml', 'text'].includes(language))).toEqual([]);
    expect(
      blocks.filter(({ language, text: inside }) => language !== 'sh' && /^rushlight /m.test(inside)),
    ).toEqual([]);
  });

  test('every command and option of its blocks and of its text exists', () => {
    const lines = linesOf(page).filter(ours);
    expect(lines.length).toBeGreaterThan(0);
    const said = [...lines.map((line) => line.slice('rushlight '.length)), ...commandLinesOf(text)];
    expect(said.filter((line) => faultOf(line) !== null)).toEqual([]);
    // Named in a sentence, without its command.
    const named = [...text.matchAll(/`(--[a-z][a-z-]*)[^`\n]*`/g)].map(([, option]) => option as string);
    expect(named.filter((option) => !everyOption.has(option))).toEqual([]);
    const programs = linesOf(page)
      .filter((line) => !ours(line))
      .flatMap((line) => line.split(/\s*(?:&&|;)\s*/))
      .map((part) => part.replace(/^\(?(?:umask \d+$)?(?:[A-Z]+=\S+ +)*/, '').split(' ')[0] ?? '');
    expect(programs.filter((name) => name !== '' && !ofOthers.test(name))).toEqual([]);
  });

  test('every code and profile that it names exists', () => {
    const codes = [...text.matchAll(/`\[([a-z0-9-]+)\]`/g)].map(([, code]) => code as string);
    const known = new Set<string>(findingCodes);
    expect(codes.filter((code) => !known.has(code))).toEqual([]);
    const profiles = [
      ...text.matchAll(/\b(?:editorial|review|archive|grading-master)-[a-z0-9]+\b|\bdpx-\d+\b/g),
    ].map(([name]) => name);
    expect(profiles.filter((name) => !(builtInNames as readonly string[]).includes(name))).toEqual([]);
  });

  test('every picture is there, says in words what it shows, and is small', () => {
    for (const [, words = '', file = ''] of text.matchAll(/!\[([^\]]*)\]\(([^)]+)\)/g)) {
      expect(words.length, file).toBeGreaterThan(20);
      expect(statSync(join(packageFolder, guide, file)).size, file).toBeLessThan(150_000);
    }
  });
});

test('every picture is shown by a guide', () => {
  const all = guides.map((page) => read(join(guide, page))).join('\n');
  const files = readdirSync(join(packageFolder, guide, 'pictures'));
  expect(files.length).toBeGreaterThan(1);
  expect(files.filter((name) => !all.includes(`(pictures/${name})`))).toEqual([]);
});

test('choosing-profiles.md has every built-in profile, with a size', () => {
  const rows = read(join(guide, 'choosing-profiles.md'));
  expect(builtInNames.filter((name) => !new RegExp(`^\\| \`${name}\` \\|.*\\d GB`, 'm').test(rows))).toEqual(
    [],
  );
});

/** What a heading is linked by, as GitHub makes it (its html-pipeline: small letters, no punctuation, hyphens for spaces). */
const anchorOf = (heading: string): string =>
  heading
    .toLowerCase()
    .replaceAll(/[^\p{L}\p{N}\p{M}\p{Pc}\- ]/gu, '')
    .replaceAll(' ', '-');

test('every link between pages leads to a file, and to a heading of it', () => {
  const pages = [
    ...['README.md', 'DEVELOPERS.md', 'CONTRIBUTING.md', 'SECURITY.md'],
    ...readdirSync(join(packageFolder, 'docs'), { recursive: true, encoding: 'utf8' })
      .filter((name) => name.endsWith('.md'))
      .map((name) => posix.join('docs', name)),
  ];
  // Outside of code, in which brackets are something else.
  const prose = (page: string): string =>
    read(page)
      .replaceAll(/^( *)```[\s\S]*?^\1```$/gm, '')
      .replaceAll(/`[^`\n]*`/g, (code) => (code.includes('](') ? '' : code));
  const anchorsOf = (page: string): string[] =>
    [...read(page).matchAll(/^#+ (.+)$/gm)].map(([, heading]) =>
      anchorOf((heading as string).replaceAll(/\[([^\]]*)\]\([^)]*\)/g, '$1')),
    );
  const links = pages.flatMap((page) =>
    [...prose(page).matchAll(/\]\(([^)\s]+)\)/g)].map(([, link]) => ({ page, link: link as string })),
  );
  expect(links.length).toBeGreaterThan(60);
  const broken = links.filter(({ page, link }) => {
    if (/^[a-z]+:/.test(link)) return false;
    const [file = '', anchor] = link.split('#');
    const target = file === '' ? page : posix.join(dirname(page), file);
    if (!existsSync(join(packageFolder, target))) return true;
    return anchor !== undefined && !anchorsOf(target).includes(anchor);
  });
  expect(broken).toEqual([]);
});

test('what asks for no drives does what the pages say', async () => {
  const lines = [...new Set(guides.flatMap(linesOf))].filter((line) =>
    /^rushlight (?:explain|profiles) /.test(line),
  );
  expect(lines.length).toBeGreaterThan(2);
  for (const line of lines) {
    const { code, stdout, stderr } = await runCommand(line.split(/\s+/).slice(1));
    expect(code, `${line}\n${stderr}`).toBe(0);
    expect(stdout.length, line).toBeGreaterThan(100);
  }
});

/** What only a farm can do: its own tests start workers. */
const ofFarm = (line: string): boolean =>
  /^rushlight worker |--workers 0|--volumes |^export RUSHLIGHT_QUEUE/.test(line);

/** The drives that the guides speak of, below a folder of the test: made by the first page, and found as it left them by the next. */
const world = join(sharedFolder, 'guides');

async function makeWorld(): Promise<void> {
  if (existsSync(world)) return;
  await makeDelivered();
  const volume = (...parts: string[]): string => join(world, 'volumes', ...parts);
  for (const drive of ['raid', 'backup-1', 'backup-2', 'backup-3'])
    copyDay(delivered.day, volume(drive, 'day-07'));
  // A card has no manifest.
  cpSync(join(delivered.day, 'A005'), volume('card-a', 'A005'), {
    recursive: true,
    filter: (path) => !path.endsWith('.md5'),
  });
  for (const drive of ['proxies', 'masters', 'shuttle-1', 'shuttle-2', 'shuttle-3'])
    mkdirSync(volume(drive), { recursive: true });
  mkdirSync(join(world, 'bin'));
  writeFileSync(
    join(world, 'bin', 'rushlight'),
    `#!/bin/sh\nexec ${process.execPath} ${join(packageFolder, 'bin', 'rushlight.mjs')} "$@"\n`,
    { mode: 0o755 },
  );
}

/** Pages in their order, each line by a shell, as its reader types it. */
test.each(further(...guides))(
  'every command of %s ends well, on the drives that it speaks of',
  async (page) => {
    await makeWorld();
    const lines = linesOf(page).filter((line) => !ofFarm(line));
    expect(lines.length).toBeGreaterThan(0);
    for (const line of lines) {
      const { status, stdout, stderr } = spawnSync(
        'bash',
        ['-c', line.replaceAll('/volumes/', `${join(world, 'volumes')}/`)],
        {
          cwd: world,
          encoding: 'utf8',
          env: {
            ...process.env,
            PATH: `${join(world, 'bin')}:${process.env.PATH ?? ''}`,
            XDG_CACHE_HOME: join(world, 'cache'),
          },
        },
      );
      expect(status, `${line}\n${stdout}${stderr}`).toBe(0);
    }
  },
  600_000,
);
