/** Where a sound file lies against the frames of a clip, by the times of both: the checker's own account. Pure. */
import type { AudioFacts, ClipFacts } from '../../media/facts.ts';
import type { WaveRead } from './wave.ts';

const magnitude = (value: bigint): bigint => (value < 0n ? -value : value);

type Times = Pick<ClipFacts, 'video' | 'timecode'>;

/** Samples from the first frame to the first sample, as the times of both put it: `exact` over `second`. */
function placeByTimes(
  since: bigint,
  sampleRate: number,
  {
    video: { rate },
    timecode,
  }: { readonly video: Times['video']; readonly timecode: NonNullable<Times['timecode']> },
): { readonly exact: bigint; readonly second: bigint } {
  // One second has num · base parts; a label lasts den · (frames a second of the label's clock) of them.
  const second = BigInt(rate.num) * BigInt(timecode.base);
  const label = BigInt(rate.den) * BigInt(Math.round(rate.num / rate.den));
  const perDay = BigInt(24 * 3600 * timecode.base - (timecode.drop ? 24 * 54 * 2 * (timecode.base / 30) : 0));
  const labelTime = BigInt(timecode.frame) * label * BigInt(sampleRate);
  const away = (days: bigint): bigint =>
    since * second - labelTime - days * perDay * label * BigInt(sampleRate);
  const [exact = 0n] = [away(0n), away(1n), away(-1n)].sort((a, b) =>
    magnitude(a) < magnitude(b) ? -1 : magnitude(a) > magnitude(b) ? 1 : 0,
  );
  return { exact, second };
}

/**
 * Whether the track lies where the times of file and frames put it, to half a sample: all multiplied by what it would be divided by. Where one of them has no time, or the file has 0
 * and that is not within the picture, it begins with the picture.
 */
export function liesInPlace(
  { startOffset, samples, sampleRate }: Pick<AudioFacts, 'startOffset' | 'samples' | 'sampleRate'>,
  { since }: Pick<WaveRead, 'since'>,
  { video, timecode }: Times,
): boolean {
  if (since === null || timecode === null) return startOffset === 0;
  const { exact, second } = placeByTimes(since, sampleRate, { video, timecode });
  if (2n * magnitude(BigInt(startOffset) * second - exact) <= second) return true;
  const { frames, rate } = video;
  const picture = BigInt(frames) * BigInt(rate.den) * BigInt(sampleRate) * BigInt(timecode.base);
  const apart = exact >= picture || exact + BigInt(samples) * second <= 0n;
  return since === 0n && apart && startOffset === 0;
}

/** Whether a start is within so many seconds of where the times put it. Where one of them has no time, nothing is. */
export function liesNear(
  { startSamples, seconds, sampleRate }: Record<'startSamples' | 'seconds' | 'sampleRate', number>,
  since: bigint | null,
  { video, timecode }: Times,
): boolean {
  if (since === null || timecode === null) return false;
  const { exact, second } = placeByTimes(since, sampleRate, { video, timecode });
  return magnitude(BigInt(startSamples) * second - exact) <= BigInt(seconds * sampleRate) * second;
}
