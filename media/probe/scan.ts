/**
 * One ffprobe run for headers and every packet: starting a program costs as much as reading a short clip.
 * Packets come first, one JSON object each, and are counted as they come; what follows (streams, format) is small.
 */
import type { Readable } from 'node:stream';
import { StringDecoder } from 'node:string_decoder';
import { z } from 'zod';
import { FindingError, finding } from '../../findings/finding.ts';
import type { OpenedInput } from '../input.ts';
import { printable } from '../../files/names.ts';
import type { MediaTools } from '../../process/locate.ts';
import { askedAgain } from '../../process/answer.ts';
import { runTool } from '../../process/run.ts';
import { type Packet, type Tally, countPacket, emptyTally } from './packets.ts';

const tags = z.record(z.string(), z.string()).default({});
export const streamHeaderSchema = z.object({
  index: z.int().nonnegative(),
  codec_type: z.string().default('unknown'),
  codec_name: z.string().optional(),
  codec_tag_string: z.string().default(''),
  profile: z.union([z.string(), z.number()]).optional(),
  level: z.int().optional(),
  width: z.int().optional(),
  height: z.int().optional(),
  sample_aspect_ratio: z.string().optional(),
  pix_fmt: z.string().optional(),
  field_order: z.string().optional(),
  color_primaries: z.string().optional(),
  color_transfer: z.string().optional(),
  color_space: z.string().optional(),
  color_range: z.string().optional(),
  chroma_location: z.string().optional(),
  bits_per_raw_sample: z.string().optional(),
  sample_fmt: z.string().optional(),
  sample_rate: z.string().optional(),
  channels: z.int().optional(),
  channel_layout: z.string().optional(),
  bits_per_sample: z.int().optional(),
  r_frame_rate: z.string().default('0/0'),
  avg_frame_rate: z.string().default('0/0'),
  time_base: z.string().default('0/0'),
  duration_ts: z.int().optional(),
  nb_frames: z.string().optional(),
  disposition: z.record(z.string(), z.number()).default({}),
  tags,
  side_data_list: z
    .array(z.looseObject({ side_data_type: z.string().optional(), displaymatrix: z.string().optional() }))
    .default([]),
});
export type StreamHeader = z.infer<typeof streamHeaderSchema>;

const headersSchema = z.object({
  streams: z.array(streamHeaderSchema).default([]),
  format: z.object({ format_name: z.string().optional(), tags }).default({ tags: {} }),
});
export type Headers = z.infer<typeof headersSchema>;

const PACKET_ENTRIES = [
  'packet=codec_type,stream_index,pts,dts,duration,size,pos,flags',
  'packet_side_data=skip_samples,discard_padding',
];
const HEADER_ENTRIES = [
  'stream',
  'stream_tags',
  'stream_disposition=attached_pic,default,timed_thumbnails',
  'stream_side_data=side_data_type,displaymatrix',
  'format=format_name',
  'format_tags',
];

/** A hung volume must not hold the night for ever; a header of a long clip on a slow one takes a while. */
const STALL_MILLISECONDS = 300_000;

export type Scan =
  | {
      readonly state: 'read';
      readonly headers: Headers;
      readonly tally: Tally;
      readonly errors: readonly string[];
    }
  /** The program ended by itself and could not read the file, or hung. */
  | { readonly state: 'unreadable'; readonly why: string; readonly errors: readonly string[] }
  /** The program ended well, and its answer was no whole one, twice: that says nothing of the file. */
  | { readonly state: 'cut-off'; readonly why: string; readonly errors: readonly string[] };

/** Counts packets line by line and returns everything else as text. A record begins at a line indented by 8 and ends before the next that is not deeper. */
async function readOutput(
  stream: Readable,
  tally: Tally,
  touch: () => void,
  onBroken: (what: string) => void,
): Promise<string> {
  const decoder = new StringDecoder('utf8');
  let rest = '';
  let record = '';
  let inPackets = false;
  const others: string[] = [];
  const finish = (): void => {
    if (record === '') return;
    try {
      countPacket(tally, JSON.parse(record.trimEnd().replace(/,$/, '')) as Packet);
    } catch (error) {
      // The program is read to its end all the same, or it would wait for ever.
      if (!(error instanceof SyntaxError)) throw error;
      onBroken(error.message);
    }
    record = '';
  };
  const take = (line: string): void => {
    if (inPackets) {
      if (line.startsWith('        {')) {
        finish();
        record = line;
      } else if (line.startsWith('         ')) {
        record += line;
      } else {
        finish();
        if (line.trim() !== '') {
          inPackets = false;
          others.push(line);
        }
      }
    } else {
      if (/^ {4}"packets": \[/.test(line)) inPackets = true;
      others.push(line);
    }
  };
  for await (const chunk of stream) {
    touch();
    const lines = (rest + decoder.write(chunk as Buffer)).split('\n');
    rest = lines.pop() ?? '';
    for (const line of lines) take(line);
  }
  take(rest + decoder.end());
  finish();
  return others.join('\n');
}

export interface ScanOptions {
  readonly signal?: AbortSignal;
  /** Leaves the packets unread: the tally stays empty. */
  readonly headersOnly?: boolean;
}

/**
 * Reads a clip, every packet; once more where the answer is cut off although the program ended well. Throws FindingError when ffprobe cannot be started, and the signal's reason when stopped.
 */
export async function scan(
  input: OpenedInput,
  tools: Pick<MediaTools, 'ffprobe'>,
  options: ScanOptions = {},
): Promise<Scan> {
  return await askedAgain(
    () => ask(input, tools, options),
    ({ state }) => state !== 'cut-off',
  );
}

async function ask(
  input: OpenedInput,
  tools: Pick<MediaTools, 'ffprobe'>,
  options: ScanOptions,
): Promise<Scan> {
  const tally = emptyTally();
  const errors: string[] = [];
  let text = '';
  let broken: string | null = null;
  let touch = (): void => {};
  const entries = options.headersOnly === true ? HEADER_ENTRIES : [...PACKET_ENTRIES, ...HEADER_ENTRIES];
  const args = [
    '-hide_banner',
    '-loglevel',
    'error',
    '-show_entries',
    entries.join(':'),
    '-of',
    'json=compact=1',
    ...input.args,
  ];
  const run = await runTool(tools.ffprobe.path, args, {
    ...(options.signal === undefined ? {} : { signal: options.signal }),
    stallMilliseconds: STALL_MILLISECONDS,
    onStart: (alive) => {
      touch = alive;
    },
    onStdout: async (stream) => {
      text = await readOutput(
        stream,
        tally,
        () => touch(),
        (what) => {
          broken ??= what;
        },
      );
    },
    onStderrLine: (line) => {
      // The first messages tell the cause; a damaged file can repeat its last one for every frame.
      if (line.trim() !== '' && errors.length < 20)
        errors.push(printable(line.trim().replace(/ @ 0x[0-9a-f]+\]/, ']')));
    },
  });
  options.signal?.throwIfAborted();
  if (run.reason === 'not-started')
    throw new FindingError(
      [
        finding('tool-unusable', `${tools.ffprobe.path}: ${run.startError}`, 'a program that starts', {
          file: 'ffprobe',
        }),
      ],
      3,
    );
  if (run.reason === 'stalled')
    return { state: 'unreadable', why: `no answer for ${STALL_MILLISECONDS / 1000} s`, errors };
  if (run.reason !== 'exited' || run.exitCode !== 0) {
    return {
      state: 'unreadable',
      why: errors[0] ?? `ffprobe ended with ${run.signal ?? `exit code ${run.exitCode}`}`,
      errors,
    };
  }
  // What a damaged file makes ffprobe print (a duration beyond 2^53, a text that is none) is said of this file: the others go on.
  const unknownForm = (what: string): Scan => ({
    state: 'unreadable',
    why: `ffprobe ${tools.ffprobe.version} describes it in an unknown form: ${what}`,
    errors,
  });
  const cutOff = (what: string): Scan => ({
    state: 'cut-off',
    why: `ffprobe ${tools.ffprobe.version} ended well with an answer that is no whole JSON: ${what}`,
    errors,
  });
  if (broken !== null) return cutOff(broken);
  let json: unknown;
  try {
    json = JSON.parse(text);
  } catch (error) {
    return cutOff((error as Error).message);
  }
  const headers = headersSchema.safeParse(json);
  if (!headers.success)
    return unknownForm(`${headers.error.issues[0]?.path.join('.')}: ${headers.error.issues[0]?.message}`);
  return { state: 'read', headers: headers.data, tally, errors };
}
