/** Text that is drawn as one list says and looked at as another says, by the recipe's filters in a real encode: what the encoder was given, and what the file shows. */
import { spawn } from 'node:child_process';
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Readable } from 'node:stream';
import { burnIn } from '../../profiles/recipe/burn-in.ts';
import { layoutOf } from '../../proof/encoder-input/samples.ts';
import { burnInFace } from '../../proof/text/burn-in-font.ts';
import { TextComparer, type TextVerdict } from '../../proof/text/compare.ts';
import { FileTextReader, type FileTextVerdict } from '../../proof/text/file-text.ts';
import type { BurntIn } from '../../proof/text/form.ts';
import { textChains } from '../../proof/text/tap.ts';
import { outcomeOf } from '../../profiles/outcome/decide.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import type { Profile } from '../../profiles/schema.ts';
import { clipFacts } from './facts.ts';

const codecs = {
  h264: { pixels: 'yuv420p', options: ['-c:v', 'libx264', '-preset', 'veryfast', '-crf', '21'] },
  'h264-coarse': { pixels: 'yuv420p', options: ['-c:v', 'libx264', '-preset', 'veryfast', '-crf', '30'] },
  h265: {
    pixels: 'yuv420p10le',
    options: [
      ...['-c:v', 'libx265', '-preset', 'veryfast', '-crf', '19'],
      ...['-x265-params', 'log-level=error:frame-threads=1:pools=2'],
    ],
  },
  rdd36: { pixels: 'yuv422p10le', options: ['-c:v', 'prores_ks', '-profile:v', '0'] },
} as const;

export interface DrawnTexts {
  /** What must be there. */
  readonly stated: readonly BurntIn[];
  /** What is drawn. */
  readonly drawn: readonly BurntIn[];
  readonly size: { readonly width: number; readonly height: number };
  /** A graph of lavfi sources; `size` and rate are its own. */
  readonly source: string;
  readonly frames: number;
  readonly codec: keyof typeof codecs;
  readonly transfer: string | null;
  /** Of the filters that draw. */
  readonly edit?: (filters: string) => string;
  readonly folder: string;
}

/** Runs ffmpeg; everything it writes to stdout goes to `read`. */
async function ffmpeg(args: readonly string[], read: (stream: Readable) => Promise<void>): Promise<void> {
  const child = spawn(
    process.env.RUSHLIGHT_FFMPEG ?? 'ffmpeg',
    ['-hide_banner', '-loglevel', 'error', '-nostdin', '-y', ...args],
    { stdio: ['ignore', 'pipe', 'pipe'] },
  );
  let said = '';
  child.stderr.on('data', (chunk: Buffer) => {
    said += chunk.toString();
  });
  const ended = new Promise<number | null>((resolve, reject) => {
    child.once('error', reject);
    child.once('close', resolve);
  });
  await read(child.stdout);
  const code = await ended;
  if (code !== 0) throw new Error(`ffmpeg ${args.join(' ')}: ${code} ${said}`);
}

const raw = (pad: string): string[] => [
  ...['-map', `[${pad}]`, '-fps_mode', 'passthrough', '-c:v', 'rawvideo', '-f', 'rawvideo', 'pipe:1'],
];

/** What both sides of the proof see of one encode. */
export async function seenTexts({
  stated,
  drawn,
  size,
  source,
  frames,
  codec,
  transfer,
  edit = (filters) => filters,
  folder,
}: DrawnTexts): Promise<{
  readonly given: TextVerdict;
  readonly file: FileTextVerdict;
  readonly path: string;
}> {
  mkdirSync(folder, { recursive: true });
  const { pixels, options } = codecs[codec];
  const layout = layoutOf(pixels);
  if (layout === null) throw new RangeError(pixels);
  const { filters, files } = burnIn({
    outcome: { burnIn: [...drawn], ...size } as Outcome,
    bits: layout.bits,
    textFolder: folder,
    key: 'k',
    alignsText: false,
  });
  for (const { path, text } of files) writeFileSync(path, text);
  const path = join(folder, codec === 'rdd36' ? 'out.mov' : 'out.mp4');
  const taps = textChains({
    burnIn: stated,
    picture: size,
    sides: ['before', 'given'].map((from) => ({ from, name: `${from}-cut` })),
    to: 'windows',
  });
  const graph = [
    `${source},format=${pixels},trim=end_frame=${frames},split=2[before][bare]`,
    `[bare]${edit(filters.length === 0 ? 'null' : filters.join(','))},split=2[given][out]`,
    ...taps,
  ].join(';');
  const font = burnInFace();
  const comparer = new TextComparer({ burntIn: stated, picture: size, layout, font, transfer });
  await ffmpeg(
    [...['-filter_complex', graph, '-map', '[out]', ...options, path], ...raw('windows')],
    (stream) => comparer.read(stream),
  );
  const reader = new FileTextReader({
    burntIn: stated,
    picture: size,
    layout,
    font,
    codec: codec === 'h264-coarse' ? 'h264' : codec,
  });
  const windows = textChains({
    burnIn: stated,
    picture: size,
    sides: [{ from: '0:v:0', name: 'shown' }],
    to: 'windows',
  });
  await ffmpeg(['-i', path, '-filter_complex', windows.join(';'), ...raw('windows')], (stream) =>
    reader.read(stream),
  );
  return { given: comparer.verdict(), file: reader.verdict(), path };
}

export const names = { clip: 'A001C001', roll: 'A001', reel: 'A001R1AB' };

/** What a profile writes into a clip of this size, whose camera, zone and recipient are stated. */
export function textsOf(
  profile: Profile,
  { width, height, frames }: { readonly width: number; readonly height: number; readonly frames: number },
): readonly BurntIn[] {
  const decided = outcomeOf({
    day: 'day-01',
    roll: 'A001',
    clip: { id: 'clip', name: 'A001C001' },
    facts: clipFacts({
      audio: [],
      video: { width, height, frames },
      metadata: { creation_time: '2031-03-04T23:30:00.000000Z' },
      burnIn: {
        camera: { name: 'Κάμερα Б', from: 'name in the settings' },
        watermark: 'For Ines Alder',
        timeZone: 'Europe/Berlin',
      },
    }),
    profile,
  });
  if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
  return decided.outcome.burnIn;
}
