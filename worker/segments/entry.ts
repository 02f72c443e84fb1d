/**
 * Where a movie is entered for the frames of a segment. A decoder that begins at a key frame may give wrong pictures for what is shown before it and coded behind
 * it (an open group), so that it is entered at least one whole group early: at a key frame behind which another one comes before the segment begins. What comes
 * first is not counted on: the first frame of the segment is known by its time, and all that follow are counted from it.
 */
import { z } from 'zod';
import type { Job } from '../../ledger/job.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { OpenedInput } from '../../media/input.ts';
import { runForAnswer } from '../../process/answer.ts';
import { isWholeJson } from '../../process/answer.ts';
import type { MediaTools } from '../../process/locate.ts';
import type { Cut } from '../make.ts';
import type { CutOut } from './cut.ts';

/** Seconds before the segment in which key frames are looked for, one after the other. Longer groups than the last are decoded from the beginning. */
const LEADS = [3, 12, 60];
const STALL_MILLISECONDS = 120_000;

const packetsSchema = z.object({
  packets: z.array(z.object({ pts: z.int().optional(), flags: z.string() })).default([]),
});
export interface SeenPacket {
  /** Ticks; undefined: it has none. */
  readonly pts?: number | undefined;
  /** Letters; `K`: a key frame. */
  readonly flags: string;
}

/** Seconds from the beginning of the file to that of its picture: a reader counts from where audio begins, if that is earlier. */
export const earlierAudio = ({ audio }: Pick<ClipFacts, 'audio'>): number =>
  Math.max(0, ...audio.map(({ startOffset, sampleRate }) => -startOffset / sampleRate));

/** The time of the key frame to enter at, ticks: the last but one that is shown no later than `first`. null: there are not two. Pure. */
export function keyBefore(packets: readonly SeenPacket[], first: number): number | null {
  const keys = packets
    .filter(({ pts, flags }) => flags.startsWith('K') && pts !== undefined && pts <= first)
    .map(({ pts }) => pts as number)
    .sort((a, b) => a - b);
  return keys.at(-2) ?? null;
}

export interface Entry {
  readonly facts: ClipFacts;
  /** Of all that is seen, counted in the clip. */
  readonly first: number;
  readonly frames: number;
  /** Of the key frame, ticks of the clip's clock; null: the file is read from its beginning. */
  readonly key: number | null;
}

/** Options before the file's own, and the time from which on frames are counted. Pure. */
export function entered({ facts, first, frames, key }: Entry): {
  readonly enter: readonly string[];
  readonly from: number | null;
} {
  const { rate, timeBase, firstTime } = facts.video;
  const earlier = earlierAudio(facts);
  const seconds = (frame: number): number => (frame * rate.den) / rate.num;
  // Half a frame early, so that no rounding passes it by.
  const from =
    first === 0 ? null : Math.ceil(((earlier + seconds(first - 0.5)) * timeBase.den) / timeBase.num);
  if (key === null || first === 0) {
    // All that is read behind the last frame is read for nothing.
    const most = earlier + seconds(first + frames + MORE);
    return { enter: ['-t', most.toFixed(6)], from };
  }
  const at = ((key - firstTime) * timeBase.num) / timeBase.den;
  const lead = seconds(first) - at;
  return {
    enter: [
      ...['-copyts', '-start_at_zero', '-noaccurate_seek'],
      ...['-ss', (earlier + at + seconds(0.5)).toFixed(6)],
      // It may be entered a group earlier than was asked for, and is then read as much longer.
      ...['-t', (2 * lead + seconds(frames + MORE)).toFixed(6)],
    ],
    from,
  };
}
/** Frames that are read behind the last one, for decoders that give frames late. */
const MORE = 20;

/** null: no two key frames were found before it. */
async function findKey(
  input: OpenedInput,
  { facts, first }: Pick<Entry, 'facts' | 'first'>,
  { tools, signal }: { readonly tools: Pick<MediaTools, 'ffprobe'>; readonly signal: AbortSignal },
): Promise<number | null> {
  const { rate, timeBase, firstTime, streamIndex } = facts.video;
  const tick = (seconds: number): number => firstTime + (seconds * timeBase.den) / timeBase.num;
  const seconds = (first * rate.den) / rate.num;
  const begin = (firstTime * timeBase.num) / timeBase.den;
  for (const lead of LEADS) {
    if (lead > seconds) break;
    const from = (begin + seconds - lead).toFixed(6);
    const until = (begin + seconds + rate.den / rate.num).toFixed(6);
    const answer = await runForAnswer(
      tools.ffprobe.path,
      [
        ...['-hide_banner', '-loglevel', 'error', '-select_streams', String(streamIndex)],
        ...[
          '-read_intervals',
          `${from}%${until}`,
          '-show_entries',
          'packet=pts,flags',
          '-of',
          'json=compact=1',
        ],
        ...input.args,
      ],
      { signal, stallMilliseconds: STALL_MILLISECONDS, isWhole: isWholeJson },
    );
    const parsed = answer.whole ? packetsSchema.safeParse(JSON.parse(answer.text)) : null;
    const key = parsed?.success === true ? keyBefore(parsed.data.packets, tick(seconds)) : null;
    if (key !== null) return key;
  }
  return null;
}

export async function cutFor(
  job: Pick<Job, 'facts'>,
  { segment, around }: CutOut,
  input: OpenedInput,
  asked: { readonly tools: Pick<MediaTools, 'ffprobe'>; readonly signal: AbortSignal },
): Promise<Cut> {
  const first = segment.start - around.before;
  const frames = around.before + segment.frames + around.behind;
  const key = first === 0 ? null : await findKey(input, { facts: job.facts, first }, asked);
  const { enter, from } = entered({ facts: job.facts, first, frames, key });
  return { segment: { from, ...around, frames: segment.frames }, enter, isEntered: key !== null };
}
