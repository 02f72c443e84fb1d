/** Messages of H.265 about the display that pictures were made for, and how much light is in them (ITU-T H.265, annex D). */
import type { Outcome } from '../../profiles/outcome.ts';
import type { ContentLight } from '../../proof/light/form.ts';
import type { Message } from './h265.ts';
import type { Movie } from './read.ts';

const MASTERING_DISPLAY = 137;
const CONTENT_LIGHT = 144;
const OTHER_TRANSFER = 147;

/** D.2.28: green, blue, red and white in steps of 0.00002. ITU-R BT.709, BT.2020; SMPTE EG 432-1. */
const WHITE = [15_635, 16_450];
const places = {
  bt709: [15_000, 30_000, 7_500, 3_000, 32_000, 16_500, ...WHITE],
  'p3-d65': [13_250, 34_500, 7_500, 3_000, 34_000, 16_000, ...WHITE],
  bt2020: [8_500, 39_850, 6_550, 2_300, 35_400, 14_600, ...WHITE],
} as const;

const hex = (value: number, bytes: number): string =>
  Math.round(value)
    .toString(16)
    .padStart(2 * bytes, '0');

function displayPayload({ primaries, peak, black }: NonNullable<Outcome['masteringDisplay']>): string {
  return [
    ...places[primaries].map((value) => hex(value, 2)),
    hex(peak * 10_000, 4),
    hex(black * 10_000, 4),
  ].join('');
}

const lightIn = (messages: readonly Message[]): Message | undefined =>
  messages.find(({ type }) => type === CONTENT_LIGHT);

/** What a stream must say before each picture that begins afresh. How much light there is, is taken from `found`: the check `codec` holds it against what was measured. */
export function expectedMessages(
  { contentLight, masteringDisplay }: Outcome,
  found: readonly Message[],
): readonly Message[] {
  return [
    ...(contentLight === null ? [] : [lightIn(found) ?? { type: CONTENT_LIGHT, payload: 'of four bytes' }]),
    ...(masteringDisplay === null
      ? []
      : [{ type: MASTERING_DISPLAY, payload: displayPayload(masteringDisplay) }]),
  ];
}

/** D.3.38: a transfer that is preferred; the very one that is tagged changes nothing. FFmpeg has x265 say it of HLG. */
export const besideTags = (messages: readonly Message[], transfer: number): readonly Message[] =>
  messages.filter(({ type, payload }) => type !== OTHER_TRANSFER || payload !== hex(transfer, 1));

export const messagesText = (messages: readonly Message[]): string =>
  messages.map(({ type, payload }) => `${type} ${payload}`).join(', ') || 'none';

/** Of the header; null: the stream says nothing of it, or not in four bytes. */
export function statedLight(movie: Movie | null): ContentLight | null {
  const track = movie?.tracks.find(({ hevc }) => hevc !== null);
  const bytes = Buffer.from(lightIn(track?.hevc?.messages ?? [])?.payload ?? '', 'hex');
  return bytes.length === 4 ? { greatest: bytes.readUInt16BE(0), average: bytes.readUInt16BE(2) } : null;
}
