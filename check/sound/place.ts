/** Where a sound file lies against the frames of a clip, by the times of both: the checker's own account. Pure. */
import type { AudioFacts, ClipFacts } from '../../media/facts.ts';
import type { WaveRead } from './wave.ts';

const magnitude = (value: bigint): bigint => (value < 0n ? -value : value);

/**
 * Whether the track lies where the times of file and frames put it, to half a sample: all multiplied by what it would be divided by. Where one of them has no time, or the file has 0
 * and that is not within the picture, it begins with the picture.
 */
export function liesInPlace(
  { startOffset, samples, sampleRate }: Pick<AudioFacts, 'startOffset' | 'samples' | 'sampleRate'>,
  { since }: Pick<WaveRead, 'since'>,
  { video: { rate, frames }, timecode }: Pick<ClipFacts, 'video' | 'timecode'>,
): boolean {
  if (since === null || timecode === null) return startOffset === 0;
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
  if (2n * magnitude(BigInt(startOffset) * second - exact) <= second) return true;
  const picture = BigInt(frames) * BigInt(rate.den) * BigInt(sampleRate) * BigInt(timecode.base);
  const apart = exact >= picture || exact + BigInt(samples) * second <= 0n;
  return since === 0n && apart && startOffset === 0;
}
