/** Checksums against known answers made by others, and against the programs that people check with. */
import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { beforeAll, describe, expect, test } from 'vitest';
import type { Algorithm } from '../../files/manifest/algorithms.ts';
import { c4FromDigest, c4OfBytes, c4ToDigest } from '../../files/manifest/c4.ts';
import { createDigest, hashBytes } from '../../files/manifest/digest.ts';
import { Xxh128 } from '../../files/manifest/xxh128.ts';
import { sharedFolder } from '../support/folder.ts';

const fixtures = join(import.meta.dirname, '../fixtures');
/** The xxHash project's self-test (see SOURCES.md). */
const known = JSON.parse(readFileSync(join(fixtures, 'vectors/xxhash.json'), 'utf8')) as {
  vectors: { algorithm: 'xxh32' | 'xxh64' | 'xxh3_64' | 'xxh128'; length: number; hash: string }[];
  md5_rfc1321: { text: string; md5: string }[];
};
const buffer = readFileSync(join(fixtures, 'vectors/xxhash_test_buffer_2367.bin'));

describe('known answers', () => {
  test.each(known.vectors)(
    '$algorithm of $length bytes (xxHash self-test)',
    async ({ algorithm, length, hash }) => {
      const name: Algorithm = algorithm === 'xxh3_64' ? 'xxh3' : algorithm;
      const bytes = buffer.subarray(0, length);
      expect(hashBytes(bytes, [name])[name]).toBe(hash);
      const stream = await createDigest([name]);
      for (let at = 0; at < length; at += 63) stream.update(bytes.subarray(at, Math.min(length, at + 63)));
      expect(stream.finish()[name]).toBe(hash);
    },
  );

  test('the self-test has vectors of every width', () => {
    expect(new Set(known.vectors.map(({ algorithm }) => algorithm)).size).toBe(4);
    expect(known.vectors.length).toBeGreaterThan(30);
  });

  test.each(known.md5_rfc1321)('md5 of "$text" (RFC 1321, A.5)', ({ text, md5 }) => {
    expect(hashBytes(Buffer.from(text), ['md5']).md5).toBe(md5);
  });

  test('C4 of the generations of the published histories is what their chains say', () => {
    for (const scenario of ['scenario_01', 'scenario_02', 'scenario_03']) {
      const folder = join(fixtures, 'manifests', scenario, 'A002R2EC/ascmhl');
      const chain = readFileSync(join(folder, 'ascmhl_chain.xml'), 'utf8');
      const entries = [...chain.matchAll(/<path>([^<]+)<\/path>\s*<c4>([^<]+)<\/c4>/g)];
      expect(entries.length).toBe(scenario === 'scenario_01' ? 1 : 2);
      for (const [, name, c4] of entries)
        expect(c4OfBytes(readFileSync(join(folder, name as string)))).toBe(c4);
    }
  });
});

describe('the programs', () => {
  const programs: [Algorithm, string, string[]][] = [
    ['xxh32', 'xxhsum', ['-H0']],
    ['xxh64', 'xxh64sum', []],
    ['xxh128', 'xxh128sum', []],
    ['md5', 'md5sum', []],
    ['sha1', 'sha1sum', []],
    ['sha224', 'sha224sum', []],
    ['sha256', 'sha256sum', []],
    ['sha384', 'sha384sum', []],
    ['sha512', 'sha512sum', []],
    ['blake2b', 'b2sum', []],
    ['xxh3', 'xxhsum', ['-H3', '--tag']],
  ];
  // Around the blocks of XXH3 (1024) and of reading (2 MiB).
  const lengths = [0, 1, 240, 241, 1024, 1025, 1088, 326_591, 2_097_151, 2_097_152, 2_097_153];
  const greatest = Math.max(...lengths);
  const all = Buffer.from(
    Array.from({ length: Math.ceil(greatest / 128) }, (_, index) =>
      createHash('sha512').update(`${index}`).digest('hex'),
    ).join(''),
    'latin1',
  );

  /** What each program says of the file of each length: one start for all files. */
  const said = new Map<Algorithm, readonly (string | undefined)[]>();
  beforeAll(() => {
    const folder = mkdtempSync(join(sharedFolder, 'sums-'));
    const files = lengths.map((length) => {
      const file = join(folder, String(length));
      writeFileSync(file, all.subarray(0, length));
      return file;
    });
    for (const [algorithm, program, args] of programs) {
      const lines = execFileSync(program, [...args, ...files], {
        encoding: 'utf8',
        stdio: ['ignore', 'pipe', 'ignore'],
      })
        .trimEnd()
        .split('\n');
      // A line for each file, in their order: `sum  file`, or `kind (file) = sum`.
      said.set(
        algorithm,
        lines.map((line) => (line.includes(' = ') ? line.split(' = ')[1] : line.split(' ')[0])),
      );
    }
    rmSync(folder, { recursive: true });
  });

  test.each(lengths.map((length, index) => [length, index] as const))(
    'agree on %i bytes, in memory and as a stream',
    async (length, index) => {
      const bytes = all.subarray(0, length);
      const algorithms = programs.map(([algorithm]) => algorithm);
      const ours = hashBytes(bytes, algorithms);
      const stream = await createDigest(algorithms);
      for (let at = 0; at < length; at += 65_521)
        stream.update(bytes.subarray(at, Math.min(length, at + 65_521)));
      expect(stream.finish()).toEqual(ours);
      expect(algorithms.map((algorithm) => [algorithm, ours[algorithm]])).toEqual(
        algorithms.map((algorithm) => [algorithm, said.get(algorithm)?.[index]]),
      );
    },
  );
});

test('XXH128 does not depend on how the bytes are cut', () => {
  const bytes = Buffer.concat(Array.from({ length: 4 }, () => buffer));
  const whole = new Xxh128().update(bytes).digest();
  fc.assert(
    fc.property(fc.array(fc.integer({ min: 0, max: 3000 }), { maxLength: 12 }), (cuts) => {
      const hash = new Xxh128();
      let at = 0;
      for (const cut of [...cuts, bytes.length]) {
        hash.update(bytes.subarray(at, Math.min(bytes.length, at + cut)));
        at = Math.min(bytes.length, at + cut);
      }
      return hash.digest() === whole;
    }),
  );
});

test('streams of XXH128 that are fed in turns do not disturb each other', () => {
  const parts = [buffer.subarray(0, 700), buffer.subarray(700, 1500), buffer.subarray(1500)];
  const hashes = [new Xxh128(), new Xxh128(), new Xxh128()];
  for (let at = 0; at < 2300; at += 100)
    for (const [index, hash] of hashes.entries())
      hash.update((parts[index] as Buffer).subarray(at, at + 100));
  const whole = parts.map((part) => new Xxh128().update(part).digest());
  expect(new Set(whole).size).toBe(3);
  expect(hashes.map((hash) => hash.digest())).toEqual(whole);
});

describe('C4', () => {
  test('the ID of nothing (as published with the C4 ID framework; from memory)', () => {
    expect(c4OfBytes(Buffer.alloc(0))).toBe(
      'c459dsjfscH38cYeXXYogktxf4Cd9ibshE3BHUo6a58hBXmRQdZrAkZzsWcbWtDg5oQstpDuni4Hirj75GEmTc1sFT',
    );
  });

  test('there and back, and IDs sort as their digests do', () => {
    const digest = fc.uint8Array({ minLength: 64, maxLength: 64 }).map((bytes) => Buffer.from(bytes));
    fc.assert(
      fc.property(digest, digest, (one, other) => {
        expect(c4ToDigest(c4FromDigest(one))).toEqual(one);
        expect(c4FromDigest(one) < c4FromDigest(other)).toBe(Buffer.compare(one, other) < 0);
      }),
    );
  });

  test.each([
    ['too short', 'c4'],
    ['a letter that the alphabet leaves out', `c4${'0'.repeat(88)}`],
    ['more than 512 bits', `c4${'z'.repeat(88)}`],
  ])('%s is refused', (_, id) => {
    expect(() => c4ToDigest(id)).toThrow(RangeError);
  });
});
