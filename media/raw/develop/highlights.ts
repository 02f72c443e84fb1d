/**
 * What becomes of a pixel of which some channel of the sensor is full. Channels are full at 1, and under a light other than the camera's own
 * that is another level of neutral for each: white that is too bright turns to the colour of the channels that still rise.
 */
import type { Triple } from './matrix.ts';
import type { HighlightPolicy } from './policies.ts';

/** Up to this part of its range no channel counts as full. */
export const NEARLY_FULL = 7 / 8;

/** 0 up to NEARLY_FULL, 1 from 1 on, between them 3t² − 2t³: without a corner at either end. */
function fullness(value: number): number {
  const t = Math.min(Math.max((value - NEARLY_FULL) / (1 - NEARLY_FULL), 0), 1);
  return t * t * (3 - 2 * t);
}

/**
 * Linear camera values, not white-balanced, full at 1, of which `neutral` (largest 1) is grey.
 *
 * keep: unchanged.
 *
 * With b = camera/neutral and m = max(b), m·neutral is grey at the brightest level that a channel shows:
 *
 * by-channel: with f = fullness(camera) of each channel, each becomes camera + f·(m·neutral − camera). A channel that is not full is
 * trusted and stays: white that is too bright becomes grey, and a lamp of which only red is full keeps its colour, until another channel fills too.
 *
 * neutral: the same with f = fullness(max(camera)) for all three: saturated colours that fill one channel turn to grey with the rest.
 *
 * Either way nothing changes where no channel is nearly full, nothing is lowered, no value is bounded, and every result rises (or stays) when any of
 * the values rises.
 */
export function highlights(policy: HighlightPolicy, neutral: Triple, camera: Triple): Triple {
  if (policy === 'keep') return camera;
  const brightest = Math.max(camera[0] / neutral[0], camera[1] / neutral[1], camera[2] / neutral[2]);
  const fullest = Math.max(...camera);
  const led = (value: number, grey: number): number =>
    value + fullness(policy === 'neutral' ? fullest : value) * (brightest * grey - value);
  return [led(camera[0], neutral[0]), led(camera[1], neutral[1]), led(camera[2], neutral[2])];
}
