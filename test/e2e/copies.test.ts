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
import { auditDelivery } from '../../coordinator/audit/index.ts';
import type { RollAudit } from '../../coordinator/audit/request.ts';
import { readPrivateKey, readPublicKeys } from '../../coordinator/provenance/key-files.ts';
import { signDelivery } from '../../coordinator/sign.ts';
import { commandProcess, startCli } from '../support/cli.ts';
import { copyDay, makeDay } from '../support/day.ts';
import { readVerdict } from '../support/delivery.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { mediaTools } from '../support/make.ts';
import { heldFfmpeg, resultOf, runWords } from '../support/night.ts';
import { eventually } from '../support/processes.ts';
import { rememberedCheck } from '../support/remembered-check.ts';

const runCommand = commandProcess();
const base = join(sharedFolder, 'late-copies');
const day = join(base, 'day-07');
const second = join(base, 'drive-b', 'day-07');
const key = join(base, 'dit.pem');
const publicKey = join(base, 'dit.pub.pem');
const NIGHT = 240_000;

/** With stills: a statement names them too. */
const night = (delivery: string, ...more: string[]): string[] =>
  runWords({ day, delivery, work: `${delivery}-work` }, '--copy', second, '--stills', '1', ...more);
const rollFolder = (delivery: string, roll = 'A005'): string => join(delivery, 'day-07', roll);
/** Codes of the findings of each roll. */
const codesByRoll = (
  rolls: readonly { readonly roll: string; readonly findings: readonly { readonly code: string }[] }[],
): Record<string, string[]> =>
  Object.fromEntries(rolls.map(({ roll, findings }) => [roll, findings.map(({ code }) => code)]));
const verdictOf = (delivery: string) => readVerdict(delivery, 'day-07', 'A005');

/** Bytes of the statement and of its signature; null: there is none. */
const provenance = (delivery: string, roll: string): (string | null)[] =>
  ['statement.json', 'statement.dsse.json'].map((name) => {
    const path = join(rollFolder(delivery, roll), name);
    return existsSync(path) ? readFileSync(path, 'utf8') : null;
  });
const decidedAt = (delivery: string, roll: string): unknown =>
  (JSON.parse(readFileSync(join(rollFolder(delivery, roll), 'roll.json'), 'utf8')) as { decidedAt: unknown })
    .decidedAt;

/** The finished delivery of two copies, once more. */
function delivered(name: string): string {
  const delivery = join(freshFolder(name), 'delivery');
  cpSync(join(base, 'delivery'), delivery, { recursive: true });
  return delivery;
}

/** The films are measured once: what changes here lies beside them. */
const check = rememberedCheck();
/** As `sign` signs. */
async function sign(delivery: string): Promise<void> {
  const { rolls } = await signDelivery(
    { delivery, tools: await mediaTools(), check },
    await readPrivateKey(key),
  );
  expect(rolls.map(({ signed }) => signed)).toEqual(
    ['A005', 'B005', 'C005'].map((roll) => join(rollFolder(delivery, roll), 'statement.dsse.json')),
  );
}
/** As `audit --public-key` audits. */
async function audited(delivery: string): Promise<readonly RollAudit[]> {
  const publicKeys = await readPublicKeys([publicKey]);
  const { rolls } = await auditDelivery({ delivery, tools: await mediaTools(), check, publicKeys });
  return rolls;
}

/** A further drive with the day on it. */
function drive(name: string): string {
  const place = join(freshFolder(name), 'day-07');
  return copyDay(day, place);
}

beforeAll(async () => {
  await makeDay(day, {
    A005: { 'A005C001.mov': { frames: 24 } },
    B005: { 'B005C001.mov': { frames: 12 } },
    C005: { 'C005C001.mov': { frames: 12, timecode: '02:00:00:00' } },
  });
  mkdirSync(join(base, 'drive-b'), { recursive: true });
  copyDay(day, second);
  const ran = await runCommand(night(join(base, 'delivery')));
  if (ran.code !== 0) throw new Error(ran.stderr + ran.stdout);
  expect(ran.stdout).toContain('ready (2 copies)  A005');
  const pair = generateKeyPairSync('ed25519');
  writeFileSync(key, pair.privateKey.export({ type: 'pkcs8', format: 'pem' }), { mode: 0o600 });
  writeFileSync(publicKey, pair.publicKey.export({ type: 'spki', format: 'pem' }));
}, NIGHT);

// First: hard links, as below, are seen in the times of the copy, and its rolls are then decided of other ones.
describe('a symbolic link where a folder of the delivery should be', () => {
  /** Puts a link in each place to what stood there; `files` says what lies at the ends of all of them. */
  function linked(places: readonly string[]): { readonly files: () => string; readonly undo: () => void } {
    const moved = places.map((place) => {
      const elsewhere = join(freshFolder('elsewhere'), 'there');
      renameSync(place, elsewhere);
      symlinkSync(elsewhere, place);
      return { place, elsewhere };
    });
    return {
      files: () =>
        moved
          .map(({ elsewhere }) =>
            execFileSync('find', [elsewhere, '-type', 'f', '-exec', 'md5sum', '{}', '+']).toString(),
          )
          .join(''),
      undo: () => {
        for (const { place, elsewhere } of moved) {
          rmSync(place);
          cpSync(elsewhere, place, { recursive: true });
        }
      },
    };
  }
  /** Rolls of which the audit, and a run, report a link. */
  async function heldByBoth(delivery: string): Promise<(readonly string[])[]> {
    const audit = await runCommand(['audit', delivery, '--json', '--quiet']);
    expect(audit.code).toBe(1);
    const ran = await runCommand(night(delivery, '--json', '--quiet'));
    expect(ran.code).toBe(1);
    return [audit, ran].map(({ stdout }) => {
      const { findings, rolls } = resultOf(stdout);
      const links = [...findings, ...rolls.flatMap((roll) => roll.findings)].filter(
        ({ code }) => code === 'link-in-delivery',
      );
      return ['A005', 'B005', 'C005'].filter((name) =>
        links.some(({ roll, file }) => roll === name || file === `day-07/${name}`),
      );
    });
  }

  test(
    'a profile, the reports, or the roll: is held by the audit, and by a run, which writes nothing through it; a folder again, it is ready',
    async () => {
      const delivery = delivered('link');
      await sign(delivery);
      const signed = ['B005', 'C005'].map((roll) => provenance(delivery, roll));
      const decided = decidedAt(delivery, 'C005');
      const links = linked([
        join(rollFolder(delivery, 'A005'), 'small-vc3'),
        join(rollFolder(delivery, 'B005'), 'reports'),
        rollFolder(delivery, 'C005'),
      ]);
      const before = links.files();
      expect(await heldByBoth(delivery)).toEqual([
        ['A005', 'B005', 'C005'],
        ['A005', 'B005', 'C005'],
      ]);
      // Of a profile's folder alone the verdict is written, and says held: what was signed is so no more.
      expect(links.files()).toBe(before);
      expect((await verdictOf(delivery)).verdict).toBe('held');
      expect(provenance(delivery, 'A005')).toEqual([null, null]);
      // The remedy, followed.
      links.undo();
      const again = await runCommand(night(delivery, '--json', '--quiet'));
      expect(again.code, again.stdout).toBe(0);
      // Where the night found the same again, statement and signature are as they were, byte for byte.
      expect(decidedAt(delivery, 'C005')).not.toBe(decided);
      expect(['B005', 'C005'].map((roll) => provenance(delivery, roll))).toEqual(signed);
      const rolls = await audited(delivery);
      expect(rolls.find(({ roll }) => roll === 'C005')).toMatchObject({
        measured: 'ready',
        statement: 'fits',
        signatures: [{ state: 'verified' }],
      });
    },
    NIGHT,
  );

  test(
    'the day: is held by the audit, and by a run, which writes nothing through it and starts no worker, since nothing is to be made',
    async () => {
      const delivery = delivered('link-of-day');
      const links = linked([join(delivery, 'day-07')]);
      const before = links.files();
      const audit = await runCommand(['audit', delivery, '--quiet']);
      expect(audit.stdout).toContain('[link-in-delivery]');
      expect(audit.code).toBe(1);
      const ran = await runCommand(night(delivery));
      expect(ran.stdout).toContain('[link-in-delivery]');
      expect(ran.code).toBe(1);
      const workerLog = (work: string): boolean => existsSync(join(work, 'logs', 'local-1.log'));
      expect([workerLog(`${delivery}-work`), workerLog(join(base, 'delivery-work'))]).toEqual([false, true]);
      expect(links.files()).toBe(before);
    },
    NIGHT,
  );
});

describe('a copy that comes after the night', () => {
  test(
    'is in the verdict, in the statement, in `status` and in `audit`, and nothing is made',
    async () => {
      const delivery = delivered('late');
      await sign(delivery);
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
      await sign(delivery);
      const rolls = await audited(delivery);
      expect(rolls.map(({ roll, measured, statement }) => [roll, measured, statement])).toEqual(
        ['A005', 'B005', 'C005'].map((roll) => [roll, 'ready', 'fits']),
      );
      for (const { signatures } of rolls) expect(signatures).toMatchObject([{ state: 'verified' }]);
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
      await sign(delivery);
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
      cpSync(join(day, 'B005', 'B005C001.mov'), join(other, 'A005', 'A005C001.mov'));
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

/** A byte turned over, and all else as it was: size, number, and time of writing. */
function flip(path: string): void {
  const { atime, mtime } = statSync(path);
  const bytes = readFileSync(path);
  bytes[bytes.length >> 1] = (bytes[bytes.length >> 1] as number) ^ 1;
  writeFileSync(path, bytes, { flag: 'r+' });
  utimesSync(path, atime, mtime);
}

describe('while the night works on other clips', () => {
  const delivery = join(base, 'changed', 'delivery');
  const published = join(rollFolder(delivery), 'small-vc3', 'A005C001.mov');
  const source = join(day, 'B005', 'B005C001.mov');
  const copied = join(second, 'C005', 'C005C001.mov');
  let codes: Record<string, string[]>;

  // One night: each roll meets one of the changes, when its clips have been read and none but the first is made.
  beforeAll(async () => {
    const [wholeSource, wholeCopy] = [readFileSync(source), readFileSync(copied)];
    mkdirSync(join(base, 'changed'));
    const held = heldFfmpeg(join(base, 'changed'), 'A005C001');
    const run = startCli(night(delivery, ...held.words, '--workers', '1', '--json'));
    try {
      const report = join(rollFolder(delivery), 'reports', 'deliverables', 'A005C001.small-vc3.json');
      await eventually(
        () =>
          run.said().includes('C005: 1 clip, 1 to make') &&
          existsSync(report) &&
          readFileSync(report, 'utf8').includes('"state": "published"'),
        120_000,
        100,
      );
      flip(published);
      flip(source);
      writeFileSync(copied, wholeCopy.subarray(0, wholeCopy.length - 9));
      held.letGo();
      const ended = await run.done;
      expect(ended.code, ended.stderr).toBe(1);
      codes = codesByRoll(resultOf(ended.stdout).rolls);
    } finally {
      run.child.kill('SIGKILL');
      writeFileSync(source, wholeSource);
      writeFileSync(copied, wholeCopy);
    }
  }, NIGHT);

  test('a byte of a published file that changes holds the roll', async () => {
    expect(codes.A005).toContain('digest-differs');
    expect((await verdictOf(delivery)).verdict).toBe('held');
  });

  test('a clip that changes before it is decoded, its size and time kept, is not decoded', () => {
    expect(codes.B005?.some((code) => ['source-changed', 'copy-changed-since'].includes(code))).toBe(true);
    expect(existsSync(join(rollFolder(delivery, 'B005'), 'small-vc3', 'B005C001.mov'))).toBe(false);
  });

  test('a copy that changes after it was verified holds the roll', () => {
    expect(codes.C005).toContain('copy-changed-since');
  });

  test(
    'with the changed file moved away and the others as they were, the next night heals them all',
    async () => {
      const aside = join(freshFolder('aside'), 'A005C001.mov');
      renameSync(published, aside);
      const again = await runCommand(night(delivery));
      for (const roll of ['A005', 'B005', 'C005'])
        expect(again.stdout).toContain(`ready (2 copies)  ${roll}`);
      expect(existsSync(aside)).toBe(true);
    },
    NIGHT,
  );
});
