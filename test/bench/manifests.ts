/** Reading of long manifests: CPU seconds and memory of a program of its own for each kind. */
import { execFileSync } from 'node:child_process';
import { createWriteStream, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { once } from 'node:events';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { programFile } from '../../files/installation.ts';
import type { BenchLine } from './line.ts';

const ENTRIES = 200_000;
const MOST_SECONDS = 15;
const MOST_MEGABYTES = 500;
const VALUE = '0123456789abcdef0123456789abcdef';

interface Form {
  readonly name: string;
  readonly file: string;
  readonly head: string;
  readonly entry: (path: string) => string;
  readonly tail: string;
}

const forms: readonly Form[] = [
  { name: 'checksum file', file: 'A001.md5', head: '', entry: (path) => `${VALUE}  ${path}\n`, tail: '' },
  {
    name: 'hash list 1.1',
    file: 'A001.mhl',
    head: '<?xml version="1.0" encoding="UTF-8"?>\n<hashlist version="1.1">\n',
    entry: (path) =>
      `  <hash>\n    <file>${path}</file>\n    <size>1234567</size>\n    <lastmodificationdate>2026-01-02T03:04:05Z</lastmodificationdate>\n    <md5>${VALUE}</md5>\n    <hashdate>2026-01-02T03:04:05Z</hashdate>\n  </hash>\n`,
    tail: '</hashlist>\n',
  },
  {
    name: 'ASC MHL',
    file: 'A001.mhl',
    head: '<?xml version="1.0" encoding="UTF-8"?>\n<hashlist version="2.0" xmlns="urn:ASC:MHL:v2.0">\n<hashes>\n',
    entry: (path) =>
      `  <hash>\n    <path size="1234567" lastmodificationdate="2026-01-02T03:04:05Z">${path}</path>\n    <md5 action="original" hashdate="2026-01-02T03:04:05Z">${VALUE}</md5>\n  </hash>\n`,
    tail: '</hashes>\n</hashlist>\n',
  },
];

async function writeForm(folder: string, form: Form): Promise<void> {
  const out = createWriteStream(join(folder, form.file));
  out.write(form.head);
  for (let index = 0; index < ENTRIES; index += 1) {
    const path = `Clips/A001C001/A001C001.${String(index).padStart(7, '0')}.dng`;
    if (!out.write(form.entry(path))) await once(out, 'drain');
  }
  out.end(form.tail);
  await once(out, 'close');
}

/** Of `check` on a day with one roll, none of whose listed files is there. */
function measured(day: string): { seconds: number; megabytes: number } {
  const program = `process.argv.splice(1, 0, ${JSON.stringify(programFile('coordinator/cli.js'))});
process.on('exit', () => {
  const { userCPUTime, systemCPUTime, maxRSS } = process.resourceUsage();
  process.stderr.write('\\nbench ' + (userCPUTime + systemCPUTime) / 1e6 + ' ' + maxRSS / 1024 + '\\n');
  process.exitCode = 0;
});
await import(process.argv[1]);`;
  const text = execFileSync(
    'sh',
    [
      '-c',
      '"$0" --input-type=module -e "$1" check "$2" --quiet 2>&1 >/dev/null; true',
      process.execPath,
      program,
      day,
    ],
    { encoding: 'utf8' },
  );
  const found = /bench (\S+) (\S+)/.exec(text);
  if (found === null) throw new Error(`check did not end: ${text}`);
  return { seconds: Number(found[1]), megabytes: Number(found[2]) };
}

export async function benchManifests(): Promise<BenchLine[]> {
  const base = mkdtempSync(join(tmpdir(), 'rushlight-bench-'));
  try {
    const lines: BenchLine[] = [];
    for (const [index, form] of forms.entries()) {
      const day = join(base, String(index));
      const roll = join(day, 'A001');
      mkdirSync(roll, { recursive: true });
      writeFileSync(join(roll, 'A001C001.mov'), 'bronze');
      await writeForm(roll, form);
      const { seconds, megabytes } = measured(day);
      lines.push({
        name: `manifest of ${ENTRIES} entries, ${form.name}`,
        measured: `${seconds.toFixed(1)} CPU s, ${megabytes.toFixed(0)} MB`,
        target: `under ${MOST_SECONDS} CPU s and ${MOST_MEGABYTES} MB`,
        passed: seconds < MOST_SECONDS && megabytes < MOST_MEGABYTES,
      });
    }
    return lines;
  } finally {
    rmSync(base, { recursive: true, force: true });
  }
}
