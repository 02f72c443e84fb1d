/** Decoders that are programs: LibRaw, and those that somebody declares in a file. What came out is counted to the byte, and the source's folder stays as it was. */
import { mkdirSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { describe, expect, test } from 'vitest';
import { parseRate } from '../../media/time/rate.ts';
import { loadDecoders } from '../../media/raw/decoders/declared/all.ts';
import { DecoderFailed, type RawDecoder, chooseDecoder, openRaw } from '../../media/raw/decoders/decoder.ts';
import { declaredRawDecoder, planesOf, runDeclared } from '../../media/raw/decoders/declared/decode.ts';
import { loadDecoder } from '../../media/raw/decoders/declared/load.ts';
import { decoderHere, type LoadedDecoder } from '../../media/raw/decoders/declared/programs.ts';
import { matchesPattern } from '../../media/raw/decoders/declared/names.ts';
import { askDeclared, atPointer } from '../../media/raw/decoders/declared/probe.ts';
import { locateLibRaw } from '../../media/raw/decoders/libraw.ts';
import { ownDecoder } from '../../media/raw/decoders/own.ts';
import { type DngOptions, buildDng, testSamples } from '../support/dng.ts';
import { freshFolder } from '../support/folder.ts';
import { ffmpeg } from '../support/media.ts';

// 16 rows are too few for LibRaw.
const [width, height] = [64, 32];
const samples = testSamples(width, height, 12);

function frameFile(options: Partial<DngOptions> = {}, name = 'bell_000007.dng'): string {
  const folder = join(freshFolder('decoder'), 'roll');
  mkdirSync(folder);
  writeFileSync(join(folder, name), buildDng({ width, height, samples, bits: 12, ...options }));
  return join(folder, name);
}

async function libraw(): Promise<RawDecoder> {
  const found = await locateLibRaw();
  if (found === null) throw new Error('unprocessed_raw is not installed');
  return found;
}

describe('LibRaw', () => {
  test('it gives what our own gives, and writes nothing beside the frame', async () => {
    const path = frameFile({ jpeg: { components: 2 } });
    const { frame } = await openRaw(path);
    const theirs = await (await libraw()).decode(path, frame);
    expect(theirs).toEqual(await ownDecoder.decode(path, frame));
    expect(readdirSync(join(path, '..'))).toEqual(['bell_000007.dng']);
  });

  test('names that look like options or hold any character are no matter', async () => {
    const path = frameFile({}, '-q "bell" %d;.dng');
    const { frame } = await openRaw(path);
    expect((await (await libraw()).decode(path, frame)).cfa).toEqual(samples);
  });

  // LibRaw 0.20.2 puts codes through the table before anybody sees them: why such frames are not given to it.
  test('frames with a linearisation table are refused', async () => {
    const path = frameFile({
      tags: [{ tag: 50_712, type: 'short', values: Array.from({ length: 4096 }, (_, code) => code * 2) }],
    });
    const { frame } = await openRaw(path);
    expect((await libraw()).objection(path, frame)).toMatch(/LinearizationTable/);
    expect(
      (await (await libraw()).decode(path, { ...frame, picture: { ...frame.picture, bitsPerSample: 16 } }))
        .cfa,
    ).toEqual(samples.map((code) => code * 2));
  });

  test.each([
    ['cut off', (file: Buffer) => file.subarray(0, 300)],
    ['no picture at all', () => Buffer.from('bell '.repeat(200))],
  ])('a file that is %s is no picture, though the program ends with 0', async (_name, spoil) => {
    const path = frameFile();
    const { frame, file } = await openRaw(path);
    writeFileSync(path, spoil(file));
    await expect((await libraw()).decode(path, frame)).rejects.toThrow(DecoderFailed);
  });

  test('a picture of another size than the tags say is refused', async () => {
    const path = frameFile();
    const { frame } = await openRaw(path);
    await expect(
      (await libraw()).decode(path, { ...frame, picture: { ...frame.picture, height: 31 } }),
    ).rejects.toThrow(/the tags say 64x31x1|bytes for 64x31/);
  });

  test('what ours does not take goes to it', async () => {
    const path = frameFile();
    const { frame } = await openRaw(path);
    const other = {
      ...frame,
      storage: { ...frame.storage, compression: 'deflate', compressionNumber: 8 },
    } as const;
    const chosen = chooseDecoder(path, other, [ownDecoder, await libraw()]);
    expect('decoder' in chosen && chosen.decoder.name).toBe('libraw');
  });
});

/** A declaration beside the programs that it names. */
async function declare(fields: Record<string, unknown>, script?: string): Promise<LoadedDecoder> {
  const folder = freshFolder('declared');
  if (script !== undefined) writeFileSync(join(folder, 'program'), script, { mode: 0o755 });
  // JSON is YAML.
  writeFileSync(
    join(folder, 'foundry.yaml'),
    JSON.stringify({ version: 1, name: 'foundry', summary: 'a test', ...fields }),
  );
  const loaded = await loadDecoder(join(folder, 'foundry.yaml'));
  if ('findings' in loaded) throw new Error(JSON.stringify(loaded.findings));
  return loaded.decoder;
}
const cfaFrames = {
  takes: { clips: 'frames', names: ['*.dng'] },
  command: ['./program', '{file}'],
  gives: { samples: 'cfa16le' },
  patience_seconds: 1,
};
const smallMovie = {
  takes: { clips: 'movie', names: ['*.mov'] },
  command: ['./program', '{file}'],
  gives: { samples: 'rgb48le', width: 2, height: 1 },
  probe: { command: ['./program', '{file}'], format: 'text', frames: 'frames (\\d+)' },
  patience_seconds: 1,
};

describe('a declared decoder of sensor values', () => {
  test('it serves as any other, and gets name, number and a folder of its own', async () => {
    const decoder = declaredRawDecoder(
      await declare(
        { ...cfaFrames, command: ['./program', '{file}', '{frame}', '{folder}', 'as it stands; $HOME'] },
        '#!/bin/sh\n[ -r "$1" ] && [ "$2" = 7 ] && [ -d "$3" ] && [ "$4" = \'as it stands; $HOME\' ] || exit 9\ntouch "$1.beside" here\nhead -c 4096 /dev/zero\n',
      ),
    );
    const path = frameFile();
    const { frame } = await openRaw(path);
    expect(decoder.objection(path, frame)).toBeNull();
    expect(await decoder.decode(path, frame)).toEqual({
      cfa: new Uint16Array(width * height),
      width,
      height,
    });
    expect(readdirSync(join(path, '..'))).toEqual(['bell_000007.dng']);
  });

  test('samples come in the byte order that was declared', async () => {
    const path = frameFile();
    const { frame } = await openRaw(path);
    const decoder = declaredRawDecoder(
      await declare(
        { ...cfaFrames, gives: { samples: 'cfa16be' } },
        `#!/bin/sh\nfor i in $(seq 2048); do printf '\\001\\002'; done\n`,
      ),
    );
    expect((await decoder.decode(path, frame)).cfa).toEqual(new Uint16Array(width * height).fill(0x0102));
  });

  test.each([
    ['one byte too few', 'head -c 4095 /dev/zero', /0 whole pictures and 4095 bytes/],
    ['one byte too many', 'head -c 4097 /dev/zero', /1 whole pictures and 1 bytes/],
    ['a picture too many', 'head -c 8192 /dev/zero', /more than the 1 pictures/],
    ['nothing', 'true', /0 whole pictures/],
    [
      'an exit code',
      'head -c 4096 /dev/zero; echo the bell is cracked >&2; exit 3',
      /exit code 3, the bell is cracked/,
    ],
    ['a signal', 'head -c 4096 /dev/zero; kill -9 $$', /SIGKILL/],
    ['silence', 'sleep 30', /no answer/],
    [
      'codes beyond the stated bits',
      "head -c 4096 /dev/zero | tr '\\000' '\\377'",
      /code value 65535 in a picture of 12 bits/,
    ],
  ])('%s is no picture', async (_name, script, message) => {
    const path = frameFile();
    const { frame } = await openRaw(path);
    await expect(
      declaredRawDecoder(await declare(cfaFrames, `#!/bin/sh\n${script}\n`)).decode(path, frame),
    ).rejects.toThrow(message);
  });

  test('a night that is stopped stops it', async () => {
    const path = frameFile();
    const { frame } = await openRaw(path);
    const decoder = declaredRawDecoder(
      await declare({ ...cfaFrames, patience_seconds: 60 }, '#!/bin/sh\nsleep 30\n'),
    );
    const stop = new AbortController();
    const running = decoder.decode(path, frame, { signal: stop.signal });
    setTimeout(() => stop.abort(new Error('enough')), 50);
    await expect(running).rejects.toThrow('enough');
  });
});

describe('a declared decoder of movies', () => {
  const clip = (): string => {
    const path = join(freshFolder('clip'), 'gong.mov');
    writeFileSync(path, 'gong');
    return path;
  };

  test('pictures come whole and in order, however the bytes come', async () => {
    const decoder = await declare(
      smallMovie,
      "#!/bin/sh\nprintf 'aaaaaaaaaaaabbbb'; sleep 0.1; printf 'bbbbbbbbc'; sleep 0.1; printf 'ccccccccccc'\n",
    );
    const seen: string[] = [];
    const size = await runDeclared(
      decoder,
      { path: clip(), frame: 0, frames: 3, size: { width: 2, height: 1 } },
      (picture, index) => {
        seen.push(`${index} ${picture.toString('latin1')}`);
      },
    );
    expect(seen).toEqual(['0 aaaaaaaaaaaa', '1 bbbbbbbbbbbb', '2 cccccccccccc']);
    expect(size).toEqual({ width: 2, height: 1 });
  });

  test('with {frame} it is run for each', async () => {
    const decoder = await declare(
      { ...smallMovie, command: ['./program', '{file}', '{frame}'] },
      '#!/bin/sh\nprintf "%012d" "$2"\n',
    );
    const seen: string[] = [];
    await runDeclared(
      decoder,
      { path: clip(), frame: 0, frames: 3, size: { width: 2, height: 1 } },
      (picture) => {
        seen.push(picture.toString('latin1'));
      },
    );
    expect(seen).toEqual(['000000000000', '000000000001', '000000000002']);
  });

  test.each([
    ['too few', 2, /2 whole pictures and 0 bytes, 3 pictures are wanted/],
    ['too many', 4, /more than the 3 pictures/],
  ])('%s pictures', async (_name, count, message) => {
    const decoder = await declare(smallMovie, `#!/bin/sh\nhead -c ${count * 12} /dev/zero\n`);
    await expect(
      runDeclared(
        decoder,
        { path: clip(), frame: 0, frames: 3, size: { width: 2, height: 1 } },
        () => undefined,
      ),
    ).rejects.toThrow(message);
  });

  test.each([
    [
      'text',
      { format: 'text', frames: '^frames: (\\d+)$', rate: 'rate=(\\S+)' },
      'reel A\\nframes: 24\\nrate=24000/1001\\n',
      { frames: 24, rate: { num: 24_000, den: 1001 }, width: null, timecode: null },
    ],
    [
      'json',
      {
        format: 'json',
        frames: '/clip/frames',
        width: '/clip/size/0',
        height: '/clip/size/1',
        timecode: '/tc',
      },
      '{"clip":{"frames":24,"size":["4096",2160]},"tc":"01:02:03:04"}',
      { frames: 24, width: 4096, height: 2160, rate: null, timecode: '01:02:03:04' },
    ],
  ])('what it tells is read from %s', async (_name, where, output, reported) => {
    const decoder = await declare(
      { ...smallMovie, probe: { command: ['./program', '{file}'], ...where } },
      `#!/bin/sh\nprintf '${output}'\n`,
    );
    expect(await askDeclared(decoder, clip())).toMatchObject({ reported });
  });

  test('the rate is read as everywhere', async () => {
    const where = { format: 'text', frames: 'frames (\\d+)', rate: 'rate (\\S+)' };
    for (const text of ['47.952', '95.904', '119.88', '25.0', '24000/1001', '25']) {
      const decoder = await declare(
        { ...smallMovie, probe: { command: ['./program', '{file}'], ...where } },
        `#!/bin/sh\nprintf 'frames 24 rate ${text}'\n`,
      );
      expect(await askDeclared(decoder, clip())).toMatchObject({ reported: { rate: parseRate(text) } });
    }
  });

  test.each([
    ['says nothing', 'true', /nothing on standard output, twice/],
    ['says what is no number', "printf 'frames many'", /no frames at/],
    ['says none', "printf 'frames 0'", /frames "0": no number of things/],
    ['fails', 'echo no clip >&2; exit 1', /exit code 1, no clip/],
  ])('one that %s is reported', async (_name, script, found) => {
    const result = await askDeclared(await declare(smallMovie, `#!/bin/sh\n${script}\n`), clip());
    expect('findings' in result && result.findings.map((item) => [item.code, item.found])).toEqual([
      ['decoder-metadata-incomplete', expect.stringMatching(found)],
    ]);
  });

  test('JSON pointers', () => {
    const document = { a: [{ 'b/c': 5, 'd~e': 'x' }], n: null };
    expect([
      atPointer(document, '/a/0/b~1c'),
      atPointer(document, '/a/0/d~0e'),
      atPointer(document, '/a/1'),
      atPointer(document, '/n'),
      atPointer(document, '/a'),
    ]).toEqual(['5', 'x', null, null, null]);
  });

  test.each([
    ['*.dng', 'BELL_1.DNG', true],
    ['bell_????.dng', 'bell_0001.dng', true],
    ['bell_????.dng', 'bell_001.dng', false],
    ['a+b(1).*', 'a+b(1).mov', true],
    ['*.mov', 'x.mov.txt', false],
  ])('pattern %s and %s: %s', (pattern, name, expected) => {
    expect(matchesPattern(pattern, name)).toBe(expected);
  });
});

describe('the file', () => {
  const good = {
    version: 1,
    name: 'foundry',
    summary: 'a test',
    ...smallMovie,
    command: ['sh', '{file}'],
    probe: { ...smallMovie.probe, command: ['sh', '{file}'] },
  };
  test.each([
    ['no such field', { ...good, colour: 1 }, 'colour', 'decoder-file-wrong'],
    ['another version', { ...good, version: 2 }, 'version', 'decoder-file-wrong'],
    ['another name than the file', { ...good, name: 'gong' }, 'name', 'decoder-file-wrong'],
    [
      'a placeholder that is none',
      { ...good, command: ['sh', '{file}', '{clip}'] },
      'command[2]',
      'decoder-file-wrong',
    ],
    ['no file among the arguments', { ...good, command: ['sh', '-c', 'x'] }, 'command', 'decoder-file-wrong'],
    [
      'sensor values of a movie',
      { ...good, gives: { samples: 'cfa16le' } },
      'gives.samples',
      'decoder-file-wrong',
    ],
    [
      'sensor values of what is no DNG',
      { ...good, takes: { clips: 'frames', names: ['*.raw'] }, gives: { samples: 'cfa16le' } },
      'takes.names',
      'decoder-file-wrong',
    ],
    [
      'floats in Netpbm',
      { ...good, gives: { samples: 'rgbf32le', around: 'netpbm' } },
      'gives.samples',
      'decoder-file-wrong',
    ],
    [
      'a width without a height',
      { ...good, gives: { samples: 'rgb48le', width: 4 } },
      'gives.height',
      'decoder-file-wrong',
    ],
    ['no size anywhere', { ...good, gives: { samples: 'rgb48le' } }, 'gives.width', 'decoder-file-wrong'],
    ['a movie without a count', { ...good, probe: null }, 'probe', 'decoder-file-wrong'],
    [
      'an expression without a group',
      { ...good, probe: { ...good.probe, rate: 'rate \\d+' } },
      'probe.rate',
      'decoder-file-wrong',
    ],
    [
      'an expression that does not read',
      { ...good, probe: { ...good.probe, rate: '(' } },
      'probe.rate',
      'decoder-file-wrong',
    ],
    [
      'a pointer that is none',
      { ...good, probe: { ...good.probe, format: 'json', frames: 'frames' } },
      'probe.frames',
      'decoder-file-wrong',
    ],
    [
      'a program that is not there',
      { ...good, command: ['no-such-bell-program', '{file}'] },
      'command[0]',
      'decoder-program-missing',
    ],
  ])('%s', async (_name, fields, field, code) => {
    const path = join(freshFolder('declared'), 'foundry.yaml');
    writeFileSync(path, JSON.stringify(fields, null, 1));
    const loaded = await loadDecoder(path);
    expect('findings' in loaded && loaded.findings.map((item) => [item.code, item.field])).toContainEqual([
      code,
      field,
    ]);
  });

  test('a departure names its line', async () => {
    const path = join(freshFolder('declared'), 'foundry.yaml');
    writeFileSync(
      path,
      'version: 1\nname: foundry\nsummary: a test\ntakes:\n  clips: reels\n  names: ["*.mov"]\ncommand: [sh, "{file}"]\ngives: { samples: rgb48le, width: 2, height: 2 }\n',
    );
    const loaded = await loadDecoder(path);
    expect('findings' in loaded && loaded.findings.map(({ line, field }) => [line, field])).toEqual([
      [5, 'takes.clips'],
    ]);
  });

  test.each([
    ['not there', null],
    ['no YAML', 'version: [1\n'],
    ['a field twice', 'version: 1\nversion: 1\n'],
  ])('%s', async (_name, text) => {
    const path = join(freshFolder('declared'), 'foundry.yaml');
    if (text !== null) writeFileSync(path, text);
    const loaded = await loadDecoder(path);
    expect('findings' in loaded && loaded.findings.map(({ code }) => code)).toEqual([
      'decoder-file-unreadable',
    ]);
  });

  test('another machine finds it without its file, and tells a program that is gone or another', async () => {
    const { declared, origin, version } = await declare(smallMovie, '#!/bin/sh\n');
    rmSync(origin);
    const codesThere = async (): Promise<string[]> => {
      const here = await decoderHere({ declared, origin, version });
      return 'findings' in here
        ? here.findings.map(({ code }) => code)
        : [here.decoder.version === version ? 'found' : 'another'];
    };
    expect(await codesThere()).toEqual(['found']);
    writeFileSync(join(origin, '..', 'program'), '#!/bin/sh\nexit 0\n');
    expect(await codesThere()).toEqual(['decoder-differs']);
    rmSync(join(origin, '..', 'program'));
    expect(await codesThere()).toEqual(['decoder-program-missing', 'decoder-program-missing']);
  });

  test('its version changes with the program', async () => {
    const one = await declare(cfaFrames, '#!/bin/sh\ntrue\n');
    const other = await declare(cfaFrames, '#!/bin/sh\nfalse\n');
    expect(one.version).toMatch(/^[0-9a-f]{12}$/);
    expect(other.version).not.toBe(one.version);
  });

  test('several are told apart by what they give, and what is wrong with any is reported', async () => {
    const folder = freshFolder('declared');
    writeFileSync(join(folder, 'foundry.yaml'), JSON.stringify(good));
    writeFileSync(
      join(folder, 'cast.yaml'),
      JSON.stringify({ ...good, name: 'cast', ...cfaFrames, command: ['sh', '{file}'], probe: null }),
    );
    writeFileSync(join(folder, 'cracked.yaml'), JSON.stringify({ ...good, name: 'gong' }));
    const { raw, pictures, findings } = await loadDecoders(
      ['foundry', 'cast', 'cracked'].map((name) => join(folder, `${name}.yaml`)),
    );
    expect([
      raw.map(({ name }) => name),
      pictures.map(({ declared }) => declared.name),
      findings.map(({ file }) => file),
    ]).toEqual([['cast'], ['foundry'], [join(folder, 'cracked.yaml')]]);
  });
});

describe('the examples', () => {
  const examples = resolve('media/raw/decoders/examples');
  async function example(name: string): Promise<LoadedDecoder> {
    const loaded = await loadDecoder(join(examples, `${name}.yaml`));
    if ('findings' in loaded) throw new Error(JSON.stringify(loaded.findings));
    return loaded.decoder;
  }

  test('every one of them loads', async () => {
    const names = readdirSync(examples).map((name) => name.replace(/\.yaml$/, ''));
    expect(names.length).toBeGreaterThan(1);
    for (const name of names) expect((await example(name)).declared.name).toBe(name);
  });

  test('LibRaw gives light of a frame: a flat field has its level in every colour', async () => {
    const decoder = await example('dng-to-scene-linear');
    const path = frameFile({
      samples: new Uint16Array(width * height).fill(2048),
      tags: [{ tag: 50_714, type: 'short', values: [256] }],
    });
    const pictures: Buffer[] = [];
    const size = await runDeclared(decoder, { path, frame: 7, frames: 1, size: null }, (picture) => {
      pictures.push(picture);
    });
    expect(size).toEqual({ width, height });
    expect(readdirSync(join(path, '..'))).toEqual(['bell_000007.dng']);
    const planes = planesOf(decoder, pictures[0] as Buffer);
    // (code − black) / (white − black), as raw-to-linear of the DNG specification has it, chapter 5.
    for (const plane of planes)
      for (const value of plane) expect(Math.abs(value - (2048 - 256) / (4095 - 256))).toBeLessThan(0.001);
  });

  test('ffmpeg gives a movie, and ffprobe says what it is', async () => {
    const decoder = await example('movie-to-rgb');
    const path = join(freshFolder('movie'), 'gong.mov');
    await ffmpeg(
      '-f',
      'lavfi',
      '-i',
      'testsrc2=s=64x36:r=24000/1001',
      '-frames:v',
      '5',
      '-c:v',
      'prores_ks',
      '-pix_fmt',
      'yuv444p10le',
      '-timecode',
      '01:00:00:12',
      path,
    );
    const asked = await askDeclared(decoder, path);
    expect(asked).toMatchObject({
      reported: {
        frames: 5,
        rate: { num: 24_000, den: 1001 },
        width: 64,
        height: 36,
        timecode: '01:00:00:12',
      },
    });
    let count = 0;
    await runDeclared(decoder, { path, frame: 0, frames: 5, size: { width: 64, height: 36 } }, (picture) => {
      count += picture.length;
    });
    expect(count).toBe(5 * 64 * 36 * 6);
  });
});
