/** Copies, links and files that change, on real nights: what the verdict, `status` and `audit` say of them. */
import { execFileSync } from 'node:child_process';
import { generateKeyPairSync } from 'node:crypto';
import {
  appendFileSync,
  cpSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  symlinkSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { commandProcess, runCli, startCli } from '../support/cli.ts';
import { copyDay, makeDay } from '../support/day.ts';
import { codesOf, readVerdict } from '../support/delivery.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { heldFfmpeg } from '../support/night.ts';
import { eventually } from '../support/processes.ts';

const runCommand = commandProcess();
const base = join(sharedFolder, 'late-copies');
const day = join(base, 'day-07');
const second = join(base, 'drive-b', 'day-07');
const profile = ['--profile', 'test/fixtures/profiles/small-vc3.yaml'];
const key = join(base, 'dit.pem');
const publicKey = join(base, 'dit.pub.pem');
const NIGHT = 240_000;

const night = (delivery: string, ...more: string[]): string[] => [
  'run',
  day,
  '--copy',
  second,
  '--deliver',
  delivery,
  '--work',
  `${delivery}-work`,
  ...profile,
  ...more,
];
const rollFolder = (delivery: string): string => join(delivery, 'day-07', 'A005');
const verdictOf = (delivery: string) => readVerdict(delivery, 'day-07', 'A005');

/** The finished delivery of two copies, once more. */
function delivered(name: string): string {
  const delivery = join(freshFolder(name), 'delivery');
  cpSync(join(base, 'delivery'), delivery, { recursive: true });
  return delivery;
}

/** A further drive with the day on it. */
function drive(name: string): string {
  const place = join(freshFolder(name), 'day-07');
  return copyDay(day, place);
}

beforeAll(async () => {
  await makeDay(day, { A005: { 'A005C001.mov': { frames: 24 }, 'A005C002.mov': { frames: 12 } } });
  mkdirSync(join(base, 'drive-b'), { recursive: true });
  copyDay(day, second);
  const ran = await runCli(night(join(base, 'delivery')));
  if (ran.code !== 0) throw new Error(ran.stderr + ran.stdout);
  expect(ran.stdout).toContain('ready (2 copies)  A005');
  const pair = generateKeyPairSync('ed25519');
  writeFileSync(key, pair.privateKey.export({ type: 'pkcs8', format: 'pem' }), { mode: 0o600 });
  writeFileSync(publicKey, pair.publicKey.export({ type: 'spki', format: 'pem' }));
}, NIGHT);

describe('a copy that comes after the night', () => {
  test(
    'is in the verdict, in the statement, in `status` and in `audit`, and nothing is made',
    async () => {
      const delivery = delivered('late');
      expect((await runCommand(['sign', delivery, '--key', key, '--quiet'])).code).toBe(0);
      const made = readdirSync(join(rollFolder(delivery), 'small-vc3')).map(
        (name) => statSync(join(rollFolder(delivery), 'small-vc3', name)).mtimeMs,
      );
      const third = drive('third');
      const checked = await runCommand(['check', day, '--copy', third, '--deliver', delivery, '--quiet']);
      expect(checked.stdout).toContain('ready (3 copies)  A005  1 copy added');
      expect(checked.stdout).toContain('[signature-removed]');
      expect(checked.code).toBe(0);
      const verdict = await verdictOf(delivery);
      expect(verdict.verdict).toBe('ready');
      expect(verdict.copies.map(({ folder, verified }) => [folder, verified])).toEqual([
        [join(day, 'A005'), true],
        [join(second, 'A005'), true],
        [join(third, 'A005'), true],
      ]);
      expect(verdict.copiesAsked).toBe(3);
      expect(verdict.manifests.map(({ file }) => file)).toContain(join(third, 'A005', 'checksums.md5'));
      expect((await runCommand(['status', delivery])).stdout).toContain('ready (3 copies)  day-07/A005');
      expect(existsSync(join(rollFolder(delivery), 'statement.dsse.json'))).toBe(false);
      expect((await runCommand(['sign', delivery, '--key', key, '--quiet'])).code).toBe(0);
      const audit = await runCommand(['audit', delivery, '--public-key', publicKey, '--quiet']);
      expect(audit.stdout).not.toContain('held');
      expect(audit.code).toBe(0);
      expect(
        readdirSync(join(rollFolder(delivery), 'small-vc3')).map(
          (name) => statSync(join(rollFolder(delivery), 'small-vc3', name)).mtimeMs,
        ),
      ).toEqual(made);
      // The same once more adds nothing, and what is signed stays signed.
      const again = await runCommand(['check', day, '--copy', third, '--deliver', delivery, '--quiet']);
      expect(again.stdout).toContain('ready (3 copies)  A005  0 copies added');
      expect(existsSync(join(rollFolder(delivery), 'statement.dsse.json'))).toBe(true);
    },
    NIGHT,
  );

  test(
    'that is damaged is reported, ends with 1, and leaves verdict, statement and signature alone',
    async () => {
      const delivery = delivered('late-bad');
      expect((await runCommand(['sign', delivery, '--key', key, '--quiet'])).code).toBe(0);
      const records = ['roll.json', 'statement.json', 'statement.dsse.json'].map((name) =>
        readFileSync(join(rollFolder(delivery), name)),
      );
      const third = drive('third-bad');
      appendFileSync(join(third, 'A005', 'A005C001.mov'), 'x');
      const checked = await runCommand(['check', day, '--copy', third, '--deliver', delivery, '--quiet']);
      expect(checked.code).toBe(1);
      expect(checked.stdout).toContain('[file-checksum-differs]');
      expect(checked.stdout).toContain('ready (2 copies)  A005  0 copies added');
      expect(
        ['roll.json', 'statement.json', 'statement.dsse.json'].map((name) =>
          readFileSync(join(rollFolder(delivery), name)),
        ),
      ).toEqual(records);
      // A good one beside it is taken all the same.
      const fourth = drive('fourth');
      const both = await runCommand([
        ...['check', day, '--copy', third, '--copy', fourth],
        ...['--deliver', delivery, '--quiet'],
      ]);
      expect(both.code).toBe(1);
      expect(both.stdout).toContain('ready (3 copies)  A005  1 copy added');
    },
    NIGHT,
  );

  test(
    'that is a drive of the record under another name is held',
    async () => {
      const delivery = delivered('late-same');
      const elsewhere = join(freshFolder('renamed'), 'day-07');
      renameSync(second, elsewhere);
      try {
        const checked = await runCommand([
          ...['check', day, '--copy', elsewhere],
          ...['--deliver', delivery, '--quiet'],
        ]);
        expect(checked.stdout).toContain('[copy-same-place]');
        expect(checked.stdout).toContain('ready (2 copies)  A005  0 copies added');
        expect(checked.code).toBe(1);
      } finally {
        renameSync(elsewhere, second);
      }
      const linked = join(freshFolder('linked'), 'day-07');
      execFileSync('cp', ['-al', second, linked]);
      const links = await runCommand(['check', day, '--copy', linked, '--deliver', delivery, '--quiet']);
      expect(links.stdout).toMatch(/\[copy-same-(file|place)\]/);
      expect(links.code).toBe(1);
      expect((await verdictOf(delivery)).copies).toHaveLength(2);
    },
    NIGHT,
  );

  test(
    'of another roll of the same name, or of a held roll, is not added',
    async () => {
      const delivery = delivered('late-other');
      const other = join(freshFolder('other'), 'day-07');
      copyDay(day, other);
      rmSync(join(other, 'A005', 'A005C002.mov'));
      execFileSync('sh', ['-c', 'rm checksums.md5; md5sum -- *.mov > checksums.md5'], {
        cwd: join(other, 'A005'),
      });
      const checked = await runCommand(['check', other, '--deliver', delivery, '--quiet']);
      expect(checked.stdout).toContain('[copy-not-added]');
      expect(checked.code).toBe(1);
      const record = join(rollFolder(delivery), 'roll.json');
      writeFileSync(record, readFileSync(record, 'utf8').replace('"verdict": "ready"', '"verdict": "held"'));
      const held = await runCommand([
        'check',
        day,
        '--copy',
        drive('fifth'),
        '--deliver',
        delivery,
        '--quiet',
      ]);
      expect(held.stdout).toContain('[copy-not-added]');
      expect(held.code).toBe(1);
    },
    NIGHT,
  );
});

describe('a symbolic link where a folder of the delivery should be', () => {
  const places: [what: string, place: (delivery: string) => string][] = [
    ['a profile', (delivery) => join(rollFolder(delivery), 'small-vc3')],
    ['the reports', (delivery) => join(rollFolder(delivery), 'reports')],
    ['the roll', rollFolder],
    ['the day', (delivery) => join(delivery, 'day-07')],
  ];
  test.each(places)(
    '%s: is held by the audit, and by a run, which writes nothing through it',
    async (_, place) => {
      const delivery = delivered('link');
      const elsewhere = join(freshFolder('elsewhere'), 'there');
      renameSync(place(delivery), elsewhere);
      symlinkSync(elsewhere, place(delivery));
      const before = execFileSync('find', [elsewhere, '-type', 'f', '-exec', 'md5sum', '{}', '+']).toString();
      const audit = await runCommand(['audit', delivery, '--quiet']);
      expect(audit.stdout).toContain('[link-in-delivery]');
      expect(audit.code).toBe(1);
      const ran = await runCli(night(delivery));
      expect(ran.stdout).toContain('[link-in-delivery]');
      expect(ran.code).toBe(1);
      // Of a profile's folder alone the verdict is written, and says held.
      expect(execFileSync('find', [elsewhere, '-type', 'f', '-exec', 'md5sum', '{}', '+']).toString()).toBe(
        before,
      );
      // The remedy, followed.
      rmSync(place(delivery));
      cpSync(elsewhere, place(delivery), { recursive: true });
      expect((await runCli(night(delivery))).code).toBe(0);
    },
    NIGHT,
  );
});

describe('while the night works on another clip', () => {
  /** Holds the second clip's encoder, does it to what lies there, and lets go. */
  async function meanwhile(
    delivery: string,
    act: () => void,
  ): Promise<{ code: number | null; stdout: string }> {
    const held = heldFfmpeg(freshFolder('held'), 'A005C001');
    const run = startCli(night(delivery, '--ffmpeg', held.path, '--slots', '1', '--workers', '1'));
    const first = join(rollFolder(delivery), 'reports', 'deliverables', 'A005C001.small-vc3.json');
    await eventually(
      () => existsSync(first) && readFileSync(first, 'utf8').includes('"state": "published"'),
      120_000,
      100,
    );
    act();
    held.letGo();
    return await run.done;
  }
  const flip = (path: string): void => {
    const { atime, mtime } = statSync(path);
    const bytes = readFileSync(path);
    bytes[bytes.length >> 1] = (bytes[bytes.length >> 1] as number) ^ 1;
    writeFileSync(path, bytes, { flag: 'r+' });
    // As it was: size, number, and time of writing.
    utimesSync(path, atime, mtime);
  };

  test(
    'a byte of a published file that changes holds the roll, and the remedy heals it',
    async () => {
      const delivery = join(freshFolder('changed'), 'delivery');
      const file = join(rollFolder(delivery), 'small-vc3', 'A005C001.mov');
      const ran = await meanwhile(delivery, () => flip(file));
      expect(ran.stdout).toContain('[digest-differs]');
      expect(ran.code).toBe(1);
      expect(codesOf(await verdictOf(delivery))).toContain('digest-differs');
      const aside = join(freshFolder('aside'), 'A005C001.mov');
      renameSync(file, aside);
      const again = await runCli(night(delivery));
      expect(again.stdout).toContain('ready (2 copies)  A005');
      expect(existsSync(aside)).toBe(true);
    },
    NIGHT,
  );

  test(
    'a clip that changes before it is decoded, its size and time kept, is not decoded',
    async () => {
      const delivery = join(freshFolder('source'), 'delivery');
      const clip = join(day, 'A005', 'A005C002.mov');
      const whole = readFileSync(clip);
      try {
        const ran = await meanwhile(delivery, () => flip(clip));
        expect(ran.stdout).toMatch(/\[(source-changed|copy-changed-since)\]/);
        expect(ran.code).toBe(1);
      } finally {
        writeFileSync(clip, whole);
      }
      expect((await runCli(night(delivery))).stdout).toContain('ready (2 copies)  A005');
    },
    NIGHT,
  );

  test(
    'a copy that changes after it was verified holds the roll',
    async () => {
      const delivery = join(freshFolder('copy-changed'), 'delivery');
      const clip = join(second, 'A005', 'A005C001.mov');
      const whole = readFileSync(clip);
      try {
        const ran = await meanwhile(delivery, () => writeFileSync(clip, whole.subarray(0, whole.length - 9)));
        expect(ran.stdout).toContain('[copy-changed-since]');
        expect(ran.code).toBe(1);
      } finally {
        writeFileSync(clip, whole);
      }
    },
    NIGHT,
  );
});
