/** Hash lists and ASC MHL documents: what is read of them, and what is refused. */
import { execFileSync } from 'node:child_process';
import { cpSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { walkFolder } from '../../files/walk.ts';
import { c4OfBytes } from '../../files/manifest/c4.ts';
import { readChain, writeChain } from '../../files/manifest/chain.ts';
import { hashBytes } from '../../files/manifest/digest.ts';
import { folderHashes } from '../../files/manifest/directory-hash.ts';
import { findManifests } from '../../files/manifest/find.ts';
import { isGeneration, readGeneration } from '../../files/manifest/generation.ts';
import { isHashList1, readHashList1 } from '../../files/manifest/hash-list-1.ts';
import { generationName, writeGeneration } from '../../files/manifest/write-generation.ts';
import { escapeXml, parseXml, XmlError } from '../../files/manifest/xml.ts';
import { freshFolder } from '../support/folder.ts';

const manifests = join(import.meta.dirname, '../fixtures/manifests');
const scenario = (name: string): string => join(manifests, name, 'A002R2EC');

async function found(
  roll: string,
  name = 'A002R2EC',
  folders: string[] = [],
): ReturnType<typeof findManifests> {
  const walk = await walkFolder(roll);
  return findManifests({
    folder: roll,
    roll: name,
    day: 'day',
    apart: folders,
    ofDay: undefined,
    present: new Set(walk.files.map(({ path }) => path)),
  });
}

describe('published histories (ascmitc/mhl, see SOURCES.md)', () => {
  test.each([
    ['scenario_01', ['xxh64']],
    ['scenario_02', ['xxh64']],
    ['scenario_03', ['xxh64', 'md5']],
  ])('%s states %j of each file, and the files are so', async (name, algorithms) => {
    const { statements, findings } = await found(scenario(name));
    expect(findings).toEqual([]);
    expect([...statements.keys()].sort()).toEqual([
      'Clips/A002C006_141024_R2EC.mov',
      'Clips/A002C007_141024_R2EC.mov',
      'Sidecar.txt',
    ]);
    for (const { path, bytes, hashes } of statements.values()) {
      const content = readFileSync(join(scenario(name), path));
      expect([path, bytes]).toEqual([path, content.length]);
      expect(hashes.map(({ algorithm }) => algorithm)).toEqual(algorithms);
      for (const { algorithm, value } of hashes)
        expect(hashBytes(content, [algorithm])[algorithm]).toBe(value);
    }
  });

  test('their chains are read, and written the same but for the spaces', () => {
    const bytes = readFileSync(join(scenario('scenario_02'), 'ascmhl/ascmhl_chain.xml'));
    const squeeze = (text: Buffer): string => text.toString('utf8').replaceAll(/>\s+</g, '><').trim();
    expect(squeeze(writeChain(readChain(bytes)))).toBe(squeeze(bytes));
  });
});

describe('folder hashes', () => {
  const files = ['Clips/A002C006_141024_R2EC.mov', 'Clips/A002C007_141024_R2EC.mov', 'Sidecar.txt'];
  const of = (algorithm: 'xxh64' | 'md5', list: readonly string[], folders: string[]) =>
    folderHashes(
      algorithm,
      list.map((path) => ({
        path,
        value: hashBytes(readFileSync(join(scenario('scenario_01'), path)), [algorithm])[algorithm] as string,
      })),
      folders,
    );

  // Values: the logs of the published scenarios 02 (xxh64) and 03 (md5).
  test.each([
    ['xxh64', ['4c226b42e27d7af3', '906faa843d591a9f'], ['8d02114c32e28cbe', 'f557f8ca8e5a88ef']],
    [
      'md5',
      ['202a2d71b56b080d9b089c1f4f29a4ba', '4a739024fd19d928e9dea6bb5c480200'],
      ['6fae2da9bc6dca45486cb91bfea6db70', 'be1f2eaed208efbed061845a64cacdfa'],
    ],
  ] as const)('%s are the published ones', (algorithm, clips, root) => {
    const hashes = of(algorithm, files, ['Clips']);
    expect([hashes.get('Clips')?.content, hashes.get('Clips')?.structure]).toEqual(clips);
    expect([hashes.get('')?.content, hashes.get('')?.structure]).toEqual(root);
  });

  test('of an empty folder are those of nothing', () => {
    // XXH64 of no bytes, seed 0: xxHash self-test.
    expect(of('xxh64', [], ['empty']).get('empty')).toEqual({
      content: 'ef46db3751d8e999',
      structure: 'ef46db3751d8e999',
    });
  });
});

describe('the older hash list, version 1', () => {
  const list = (entries: string): Buffer =>
    Buffer.from(
      `<?xml version="1.0" encoding="UTF-8"?>\n<hashlist version="1.1"><creatorinfo><tool>x</tool></creatorinfo>${entries}</hashlist>`,
    );
  const entry = (hash: string, size = '3', file = 'abc.mov'): string =>
    `<hash><file>${file}</file><size>${size}</size><lastmodificationdate>2026-01-02T03:04:05Z</lastmodificationdate>${hash}<hashdate>2026-01-02T03:04:05</hashdate></hash>`;
  const read = (entries: string): ReturnType<typeof readHashList1> => {
    const root = parseXml(list(entries));
    expect(isHashList1(root)).toBe(true);
    return readHashList1(root, 'm');
  };

  // Values of `abc` as xxhsum 0.8.1 and xxhsum --little-endian give them; md5 of RFC 1321, sha1 of FIPS 180.
  test.each([
    ['xxhash, a decimal number', '<xxhash>852579327</xxhash>', { algorithm: 'xxh32', value: '32d153ff' }],
    [
      'xxhash64, bytes reversed',
      '<xxhash64>990977adf52cbc44</xxhash64>',
      { algorithm: 'xxh64', value: '44bc2cf5ad770999' },
    ],
    [
      'xxhash64be',
      '<xxhash64be>44BC2CF5AD770999</xxhash64be>',
      { algorithm: 'xxh64', value: '44bc2cf5ad770999' },
    ],
    [
      'md5',
      '<md5>900150983cd24fb0d6963f7d28e17f72</md5>',
      { algorithm: 'md5', value: '900150983cd24fb0d6963f7d28e17f72' },
    ],
    [
      'sha1',
      '<sha1>a9993e364706816aba3e25717850c26c9cd0d89d</sha1>',
      { algorithm: 'sha1', value: 'a9993e364706816aba3e25717850c26c9cd0d89d' },
    ],
  ] as const)('%s', (_, hash, stated) => {
    expect(read(entry(hash))).toEqual({
      statements: [{ path: 'abc.mov', bytes: 3, hashes: [stated] }],
      ignore: [],
      findings: [],
    });
    expect(hashBytes(Buffer.from('abc'), [stated.algorithm])[stated.algorithm]).toBe(stated.value);
  });

  test('null states the size alone', () => {
    expect(read(entry('<null/>')).statements).toEqual([{ path: 'abc.mov', bytes: 3, hashes: [] }]);
  });

  test.each([
    ['no size', entry('<md5>900150983cd24fb0d6963f7d28e17f72</md5>', '')],
    ['a size that is no number', entry('<md5>900150983cd24fb0d6963f7d28e17f72</md5>', '3.5')],
    ['no name', entry('<md5>900150983cd24fb0d6963f7d28e17f72</md5>', '3', '')],
    ['a number beyond 32 bits', entry('<xxhash>4294967296</xxhash>')],
    ['a value cut short', entry('<md5>900150983cd24fb0</md5>')],
    ['no checksum of a known kind', entry('<crc>1</crc>')],
  ])('an entry with %s is reported, the others count', (_, bad) => {
    const reading = read(bad + entry('<null/>', '3', 'good.mov'));
    expect(reading.findings.map(({ code }) => code)).toEqual(['manifest-line-malformed']);
    expect(reading.statements.map(({ path }) => path)).toEqual(['good.mov']);
  });

  test('a list of nothing cannot be relied on', () => {
    expect(read('').findings.map(({ code }) => code)).toEqual(['manifest-unreadable']);
  });
});

describe('XML', () => {
  const refused: [what: string, text: string | Buffer][] = [
    ['cut short', '<hashlist><hashes>'],
    ['a document type declaration', '<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>'],
    [
      'entities that multiply',
      `<!DOCTYPE a [<!ENTITY b "bbbbbbbb"><!ENTITY c "${'&b;'.repeat(50)}">]><a>&c;</a>`,
    ],
    ['an outside entity', '<!DOCTYPE a SYSTEM "file:///etc/passwd"><a/>'],
    ['an entity of nobody', '<a>&bell;</a>'],
    ['an entity without end', '<a>a & b</a>'],
    ['a character number that is none', '<a>&#xD800;</a>'],
    ['two roots', '<a/><b/>'],
    ['nothing', ''],
    ['text', 'bells'],
    ['bytes that are not UTF-8', Buffer.from([0x3c, 0x61, 0x3e, 0xe9, 0x3c, 0x2f, 0x61, 0x3e])],
    ['UTF-16 that ends in the middle of a character', Buffer.from([0xff, 0xfe, 0x3c, 0x00, 0x00, 0xd8])],
    ['another encoding by its own word', '<?xml version="1.0" encoding="ISO-8859-1"?><a/>'],
    ['depth without end', '<a>'.repeat(5000) + '</a>'.repeat(5000)],
  ];
  test.each(refused)('%s is refused', (_, text) => {
    expect(() => parseXml(Buffer.from(text as string))).toThrow(XmlError);
  });

  test('what is written is what is read, whatever the text (and xmllint reads the same)', () => {
    const text = fc.string({ unit: 'grapheme', maxLength: 30 });
    fc.assert(
      fc.property(text, (wanted) => {
        expect(parseXml(Buffer.from(`<a b="${escapeXml(wanted)}">${escapeXml(wanted)}</a>`))).toMatchObject({
          text: wanted,
          attributes: { b: wanted },
        });
      }),
    );
    const odd = ' &amp; <\'"]]>\t\r\n é ';
    const folder = freshFolder('xml');
    writeFileSync(join(folder, 'a.xml'), `<a>${escapeXml(odd)}</a>`);
    expect(
      execFileSync('xmllint', ['--xpath', 'string(/a)', join(folder, 'a.xml')], { encoding: 'utf8' }),
    ).toBe(`${odd}\n`);
    expect(parseXml(readFileSync(join(folder, 'a.xml'))).text).toBe(odd);
  });

  test('CDATA is text, prefixes are namespaces, comments are nothing', () => {
    const root = parseXml(
      Buffer.from('\ufeff<m:a xmlns:m="urn:x"><!-- no --><m:b>1<![CDATA[&amp;<]]>2</m:b><b/></m:a>'),
    );
    expect(root).toMatchObject({
      name: 'a',
      namespace: 'urn:x',
      children: [
        { name: 'b', namespace: 'urn:x', text: '1&amp;<2' },
        { name: 'b', namespace: '' },
      ],
    });
  });

  test('characters that XML has no place for are not written', () => {
    for (const text of ['\0', '\x1b', '\udce9', '\uffff']) expect(() => escapeXml(text)).toThrow(RangeError);
  });
});

describe('a generation', () => {
  const at = new Date('2026-01-02T03:04:05Z');
  const write = (paths: string[], extra: object = {}): Buffer =>
    writeGeneration({
      createdAt: at,
      host: 'night & day',
      tool: { name: 'rushlight', version: '1' },
      process: 'in-place',
      ignore: ['.DS_Store', 'ascmhl', 'ascmhl/'],
      files: paths.map((path) => ({
        path,
        bytes: 3,
        modifiedAt: at,
        hashes: [
          { algorithm: 'xxh64', value: '44bc2cf5ad770999', action: 'original' },
          { algorithm: 'c4', value: c4OfBytes(Buffer.from('abc')), action: 'verified' },
        ],
      })),
      folders: new Map(),
      folderAlgorithm: 'xxh64',
      ...extra,
    });

  test('is valid by the published schema whatever the names and formats', () => {
    const folder = freshFolder('generation');
    const paths = ['a/b.mov', 'a.mov', ' spaced ', 'two\nlines', '<&>"\'', '\u202eright', 'e\u0301'];
    const bytes = write(paths, {
      folders: new Map([
        ['', { content: '44bc2cf5ad770999', structure: '44bc2cf5ad770999' }],
        ['a', { content: '44bc2cf5ad770999', structure: '44bc2cf5ad770999' }],
      ]),
    });
    writeFileSync(join(folder, 'g.mhl'), bytes);
    execFileSync(
      'xmllint',
      ['--noout', '--nonet', '--schema', join(manifests, 'ASCMHL.xsd'), join(folder, 'g.mhl')],
      { stdio: 'pipe' },
    );
    const root = parseXml(bytes);
    expect(isGeneration(root)).toBe(true);
    const read = readGeneration(root, 'm');
    expect(read.findings).toEqual([]);
    expect(read.files.map(({ path }) => path).sort()).toEqual([...paths].sort());
    expect(read.files[0]?.hashes.map(({ algorithm, action }) => [algorithm, action])).toEqual([
      ['c4', 'verified'],
      ['xxh64', 'original'],
    ]);
  });

  test('has the name that the specification gives it', () => {
    expect(generationName(1, 'A002R2EC', new Date('2020-01-16T09:15:00Z'))).toBe(
      '0001_A002R2EC_2020-01-16_091500Z.mhl',
    );
    expect(generationName(12_345, 'A', at)).toBe('12345_A_2026-01-02_030405Z.mhl');
  });

  test.each([
    ['a path that climbs out', '<path>../b.mov</path>', 'manifest-path-outside'],
    ['an absolute path', '<path>/b.mov</path>', 'manifest-path-absolute'],
    ['a size that is none', '<path size="big">b.mov</path>', 'manifest-line-malformed'],
    ['no path', '', 'manifest-line-malformed'],
    ['a value of another length', '<path>b.mov</path><xxh64>44bc</xxh64>', 'manifest-line-malformed'],
    [
      'an action of nobody',
      '<path>b.mov</path><xxh64 action="new">44bc2cf5ad770999</xxh64>',
      'manifest-line-malformed',
    ],
  ])('an entry with %s is reported, the others count', (_, entry, code) => {
    const text = write(['good.mov']).toString('utf8').replace('<hashes>', `<hashes><hash>${entry}</hash>`);
    const read = readGeneration(parseXml(Buffer.from(text)), 'm');
    expect(read.findings.map((item) => item.code)).toEqual([code]);
    expect(read.files.map(({ path }) => path)).toEqual(['good.mov']);
  });
});

describe('nested histories', () => {
  /** The scenario's roll one folder down, under a history that names the nested one. */
  function nested(reference: (c4: string) => string): string {
    const root = join(freshFolder('nested'), 'A002');
    cpSync(scenario('scenario_01'), join(root, 'inner'), { recursive: true });
    writeFileSync(join(root, 'outer.txt'), 'abc');
    const name = '0001_A002R2EC_2020-01-16_091500Z.mhl';
    const c4 = reference(c4OfBytes(readFileSync(join(root, 'inner/ascmhl', name))));
    const at = new Date('2026-01-02T03:04:05Z');
    const outer = writeGeneration({
      createdAt: at,
      host: 'h',
      tool: { name: 't', version: '1' },
      process: 'in-place',
      ignore: ['ascmhl'],
      files: [
        {
          path: 'outer.txt',
          bytes: 3,
          modifiedAt: at,
          hashes: [{ algorithm: 'xxh64', value: '44bc2cf5ad770999', action: 'original' }],
        },
      ],
      folders: new Map(),
      folderAlgorithm: 'xxh64',
    });
    const text = outer
      .toString('utf8')
      .replace(
        '</hashlist>',
        `<references><hashlistreference><path>inner/ascmhl/${name}</path><c4>${c4}</c4></hashlistreference></references></hashlist>`,
      );
    mkdirSync(join(root, 'ascmhl'));
    writeFileSync(join(root, 'ascmhl', generationName(1, 'A002', at)), text);
    writeFileSync(
      join(root, 'ascmhl/ascmhl_chain.xml'),
      writeChain([{ sequence: 1, file: generationName(1, 'A002', at), c4: c4OfBytes(Buffer.from(text)) }]),
    );
    return root;
  }

  test('state the files of their own folder', async () => {
    const {
      statements,
      findings,
      manifests: read,
    } = await found(
      nested((c4) => c4),
      'A002',
    );
    expect(findings).toEqual([]);
    expect([...statements.keys()].sort()).toEqual([
      'inner/Clips/A002C006_141024_R2EC.mov',
      'inner/Clips/A002C007_141024_R2EC.mov',
      'inner/Sidecar.txt',
      'outer.txt',
    ]);
    expect(read).toHaveLength(2);
  });

  test('that are not what the history above recorded are reported', async () => {
    const { findings } = await found(
      nested((c4) => `c4${'1'.repeat(88)}${c4.slice(90)}`),
      'A002',
    );
    expect(findings.map(({ code }) => code)).toEqual(['manifest-chain-broken']);
  });
});
