/**
 * What a file is, read without anything of ours: every decoded picture and audio packet by its digest and time
 * (ffmpeg's framemd5), and what ffprobe says of streams and container.
 */
import { runForOutput } from '../../process/run.ts';

export interface Observed {
  /** Digests of the decoded pictures, as they are shown. */
  readonly pictures: readonly string[];
  /** Presentation times of the pictures, ticks. */
  readonly times: readonly string[];
  /** One digest for each audio track: of all its samples. */
  readonly audioTracks: readonly string[];
  /** `stream.key` and value, bytes and bit rates left out. */
  readonly description: Readonly<Record<string, string>>;
}

async function lines(program: string, args: readonly string[]): Promise<string[]> {
  const run = await runForOutput(program, args);
  return run.stdout
    .toString('utf8')
    .split('\n')
    .filter((line) => line !== '');
}

/** Facts that follow from the bytes of pictures, which are compared as pictures. */
const unproven =
  /^(?:format\.(?:filename|size|bit_rate|duration|probe_score|tags\..*)|.*\.(?:bit_rate|max_bit_rate|extradata_size|duration|duration_ts|codec_long_name))$/;

/** A file that cannot be read gives what could be read of it. */
export async function observed(path: string): Promise<Observed> {
  const decode = ['-v', 'quiet', '-nostdin', '-i', `file:${path}`];
  const [pictures, audioTracks, reported] = await Promise.all([
    lines('ffmpeg', [...decode, '-map', '0:v', '-fps_mode', 'passthrough', '-f', 'framemd5', '-']),
    lines('ffmpeg', [
      ...decode,
      '-map',
      '0:a?',
      '-vn',
      '-c:a',
      'pcm_s32le',
      '-f',
      'streamhash',
      '-hash',
      'md5',
      '-',
    ]),
    lines('ffprobe', ['-v', 'quiet', '-show_streams', '-show_format', '-of', 'flat', `file:${path}`]),
  ]);
  const frames = pictures
    .filter((line) => !line.startsWith('#'))
    .map((line) => line.split(',').map((part) => part.trim()));
  const description: Record<string, string> = {};
  for (const line of reported) {
    const [, key, value] = /^(?:streams\.)?(.*?)=(.*)$/.exec(line) as unknown as [string, string, string];
    if (!unproven.test(key)) description[key] = value;
  }
  return {
    pictures: frames.map((parts) => parts.at(-1) as string),
    times: frames.map((parts) => parts[2] as string),
    audioTracks: audioTracks.map((line) => line.split('=').at(-1) as string),
    description,
  };
}

export interface Differences {
  /** For every picture of the spoiled file the number of the good one that it is; null: none of them. Null when all are in place. */
  readonly pictures: readonly (number | null)[] | null;
  readonly times: boolean;
  readonly audioTracks: readonly number[];
  /** Keys whose values differ. */
  readonly described: readonly string[];
}

/** The good picture with the same digest; the one at the same place, or else the first. */
export function differencesOf(good: Observed, spoiled: Observed): Differences {
  const places = spoiled.pictures.map((digest, index) =>
    good.pictures[index] === digest
      ? index
      : good.pictures.includes(digest)
        ? good.pictures.indexOf(digest)
        : null,
  );
  const inPlace = places.length === good.pictures.length && places.every((place, index) => place === index);
  const most = Math.max(good.audioTracks.length, spoiled.audioTracks.length);
  const keys = [...new Set([...Object.keys(good.description), ...Object.keys(spoiled.description)])];
  return {
    pictures: inPlace ? null : places,
    times: good.times.join() !== spoiled.times.join(),
    audioTracks: Array.from({ length: most }, (_, index) => index).filter(
      (index) => good.audioTracks[index] !== spoiled.audioTracks[index],
    ),
    described: keys.filter((key) => good.description[key] !== spoiled.description[key]).sort(),
  };
}

export function isNone({ pictures, times, audioTracks, described }: Differences): boolean {
  return pictures === null && !times && audioTracks.length === 0 && described.length === 0;
}
