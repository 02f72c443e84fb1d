/** The words that people read when something is wrong: what they name exists, and they begin with what to do. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import type { CommandUnknownOpts } from '@commander-js/extra-typings';
import { describe, expect, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import { registry } from '../../findings/registry.ts';
import { commandLinesOf, commands, everyOption, faultOf, root } from '../support/command-lines.ts';

interface Text {
  readonly of: string;
  readonly text: string;
}

/** Help as it is printed, with what is added after it. */
function helpOf(command: CommandUnknownOpts): string {
  let text = '';
  command.configureOutput({ writeOut: (part) => void (text += part) });
  command.outputHelp();
  return text;
}

const findings: readonly Text[] = Object.entries(registry).flatMap(([code, { title, remedy }]) => [
  { of: `${code}, title`, text: title },
  { of: `${code}, remedy`, text: remedy },
]);
const help: readonly Text[] = [['rushlight', root] as const, ...commands].map(([name, command]) => ({
  of: `help of ${name}`,
  text: helpOf(command),
}));
const readme: Text = { of: 'README', text: readFileSync(join(packageFolder, 'README.md'), 'utf8') };
const everything = [...findings, ...help, readme];

/** Options of other programs that our texts name. */
const ofOthers = new Set(['--version']);

describe('what texts name exists', () => {
  test('every command of titles, remedies, help and README, with the options beside it', () => {
    const lines = everything.flatMap(({ of, text }) => commandLinesOf(text).map((line) => ({ of, line })));
    expect(lines.filter(({ of }) => of.endsWith('remedy')).length).toBeGreaterThan(10);
    expect(lines.filter(({ of }) => of === 'README').length).toBeGreaterThan(5);
    const wrong = lines.flatMap(({ of, line }) => {
      const fault = faultOf(line);
      return fault === null ? [] : [`${of}: ${line}: ${fault}`];
    });
    expect(wrong).toEqual([]);
  });

  test('every option of titles, remedies, help and README', () => {
    const named = everything.flatMap(({ of, text }) =>
      [...text.matchAll(/(?<![\w-])--[a-z][a-z-]*/g)].map(([option]) => `${of}: ${option}`),
    );
    expect(named.length).toBeGreaterThan(100);
    const wrong = named.filter((entry) => {
      const option = entry.slice(entry.lastIndexOf(' ') + 1);
      return !everyOption.has(option) && !ofOthers.has(option);
    });
    expect(wrong).toEqual([]);
  });

  test.each([
    ['run <day> --deliver <folder>', null],
    ['manifest <roll> --to <folder>', null],
    ['profiles show editorial-vc3', null],
    ['seal <roll>', 'no command'],
    ['check <day> --profile x', 'no --profile'],
  ])('the reader of command lines sees what `%s` is', (line, fault) => {
    expect(faultOf(line)).toBe(fault);
  });

  test('every environment variable of remedies and README is one that the code reads', () => {
    const read = new Set([
      'RUSHLIGHT_FFMPEG',
      'RUSHLIGHT_FFPROBE',
      'RUSHLIGHT_REDIS_SERVER',
      'RUSHLIGHT_UNPROCESSED_RAW',
      'RUSHLIGHT_QUEUE',
      'RUSHLIGHT_VOLUMES',
    ]);
    const named = everything.flatMap(({ text }) => text.match(/RUSHLIGHT_[A-Z_]+/g) ?? []);
    expect([...new Set(named)].filter((name) => !read.has(name))).toEqual([]);
  });
});

/** What a remedy may begin with: an instruction. */
const verbs = new Set(
  `Add Ask Change Check Choose Clear Close Compare Convert Copy Correct Deliver Develop Do Fetch Find Free Give Grade
  Install Keep Leave Let Look Make Mount Move Name Play Put Raise Read Remove Rename Replace Report Restore Run Save Set
  Sign Start State Update Use Wait Write`.split(/\s+/),
);

describe.each(Object.entries(registry))('%s', (_code, { title, remedy }) => {
  test('its remedy is whole sentences, and begins with what to do', () => {
    expect(verbs).toContain(remedy.split(/[\s,:.]/)[0]);
    expect(remedy).toMatch(/[.)]$/);
    expect(remedy).not.toMatch(/\. (?!docs\/)[a-z]|\s\s|\n/);
  });

  test('its title is one line without a full stop', () => {
    expect(title).toMatch(/^[^\n]{10,110}[^.\n]$/);
  });
});

/** Words that mean something else to a practitioner, or nothing; each with the word that is meant. */
const banned: readonly (readonly [pattern: RegExp, instead: string])[] = [
  [/\banew\b/i, 'again'],
  [/\b(?:told|tells)\b(?!` )/i, 'reported, reports, shows'],
  [/\b(?:stand|stands|standing)\b/i, 'is, exists'],
  [/\bholds\b(?! the (?:clip|roll))/i, 'has, is right'],
  [/\bby itself\b/i, 'leave out'],
  [/\bby hand\b/i, 'outside Rushlight, yourself'],
  [/\blight\b/i, 'scene-linear'],
  [/\b(?:seal|seals|sealed)\b/i, 'manifest'],
  [/\btrails?\b/i, 'frame fingerprints'],
  [/\b(?:intake|survey)\b/i, 'verification, probe'],
  [/\bsounds\b/i, 'audio'],
  [/\bnights?\b/i, 'run'],
  [/\btarget\b/i, 'delivery drive'],
  [/[\u2018\u2019\u201c\u201d]/, 'straight quotes'],
];

test.each(banned.map(([pattern, instead]) => [pattern.source, instead, pattern] as const))(
  'titles, remedies and help never say %s (%s)',
  (_source, _instead, pattern) => {
    // The first line of the program names the work that it does.
    const said = [...findings, ...help.filter(({ of }) => of !== 'help of rushlight')].filter(({ text }) =>
      pattern.test(text.replaceAll('`probe`', '')),
    );
    expect(said.map(({ of }) => of)).toEqual([]);
  },
);

describe('no remedy destroys', () => {
  test.each(
    Object.entries(registry).filter(([, { remedy }]) =>
      /\b(?:delet|eras|remov|overwrit|reformat)/i.test(remedy),
    ),
  )('%s', (code, { remedy }) => {
    // What may be thrown away without a loss, each with its reason.
    const harmless = new Map([
      ['store-failed', 'the queue is written again from what is on disk'],
      ['file-not-regular', 'a pipe, socket or device has no content'],
      ['link-leaves-roll', 'a link has no content'],
      ['profile-field-unknown', 'a field of a text that the reader wrote'],
      ['profile-extends-circle', 'a field of a text that the reader wrote'],
      ['key-unusable', 'a decrypted key beside the encrypted one'],
      ['findings-more', 'a cause'],
    ]);
    const without = remedy
      .replaceAll(/do not (?:delete|erase|reformat|remove)[^.:]*/gi, '')
      .replaceAll(/before (?:anything is deleted|the card is erased|it is reformatted)/gi, '')
      .replaceAll(/Nothing was overwritten/gi, '')
      // What a run does, not the reader.
      .replaceAll(/(?:A|The next) run [^.]*removes [^.]*|removes it when it is held/gi, '');
    const destroys = /\b(?:delet|eras|remov|overwrit|reformat)/i.test(without);
    expect(destroys && !harmless.has(code) ? remedy : '').toBe('');
  });
});

test.each([
  'digest-differs',
  'file-size-differs',
  'folder-file-differs',
  'folder-file-absent',
  'file-absent',
] as const)('%s: another copy of the delivery comes before a run, which may lack the roll', (code) => {
  const { remedy } = registry[code];
  expect(remedy).toMatch(/^Restore .*from another copy of the delivery/);
  expect(remedy).toMatch(/roll is still there/);
});
