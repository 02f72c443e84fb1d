/** What a coder has made of a channel, as energy: its level over the whole track, and stretches that err far beyond what is usual here. Pure. */
import { BLOCKS_A_SECOND, blockSamples, decibelsOf } from './audio-fingerprint.ts';
import { type AudioSketch, BUCKETS, CHIPS_A_STRETCH, STRETCH_SECONDS } from './audio-sketch.ts';
import { median } from './pictures.ts';

/**
 * A stretch errs too much beyond this part of the source's energy, or this many times what is usual in the track, whichever is more. AAC at 160 kbit/s
 * a channel, FFmpeg 5.1, 45 tracks of speech, bells, tones, sweeps, squares, ticks and noise at 44.1, 48 and 96 kHz: what is tonal usually errs by -28 to -66 dB,
 * noise by -15 dB, its worst stretch by -11 dB. Noise comes up in tonal tracks too (a door, a hiss): its worst stretch there errs by -13.8 dB.
 * One standard deviation of a sketch is 1 dB.
 */
const ALLOWED_PART = 10 ** -1.2;
const TIMES_USUAL = 10 ** 0.8;
/** An encoder begins without knowing its audio: in its first two stretches a square erred by -11.0 dB, noise that falls by -10.8 dB. */
const ALLOWED_AT_START = 10 ** -0.8;
const START_STRETCHES = 2;
/**
 * What is lost of a frame is spread over all of it, wherever in it the audio is: of what lies within a frame's samples on either side (AAC, long windows:
 * 2048), a stretch may hold the loss. Measured: up to -20.6 dB of the loud stretch beside it, and as little as -140 dBFS of its own.
 */
const FRAME_SAMPLES = 2048;
/**
 * FFmpeg's encoder lowers a frame whose samples go above 0.95 of full scale to that (CLIP_AVOIDANCE_FACTOR, libavcodec/aacenc.c), and a decoder cuts what still
 * goes beyond full scale. What was heard to reach this is such a stretch; a coder's loss makes peaks a little lower than 0.95.
 */
export const LIMITED_FROM = 0.9;
/** A limited stretch may err by so much, and be weaker by so much of its amplitude (1.2 dB). Measured: noise after silence -9.3 dB; squares -1.00 dB. */
const ALLOWED_LIMITED = 10 ** -0.7;
const LIMITED_LOSS = 0.129;
/**
 * At another rate samples that stood at full scale go beyond it, and the encoder lowers them by more (4.5 dB). Noise at full scale from 44.1 to 48 kHz: -4.06 dB.
 * Audio that is weaker for another reason reaches LIMITED_FROM no more, unless it went so far beyond.
 */
const LIMITED_LOSS_RESAMPLED = 0.404;
/** And never below this, dBFS in the band: a coder drops what is masked, and spreads what is loud over 40 ms. The worst of the same tracks: -71 dBFS. */
const ERROR_FLOOR_DECIBELS = -62;
/** Stretches below this, dBFS in the band, do not tell a level. */
const QUIET_DECIBELS = -50;
/**
 * A level may be off by this part of the amplitude (0.125 dB), and by so many times the part of the energy that the coder drops: it drops the weaker parts of
 * noise. Of the same tracks: tonal ones up to 0.05 dB, noise 0.46 dB at an error of 0.028 of its energy.
 */
const ALLOWED_GAIN = 0.0145;
const GAIN_BY_ERROR = 4;
/** How sure a level must be, in standard deviations. */
const DEVIATIONS = 4;
/** Another gain than this is no coder's: what it is, anchors say. */
const MOST_GAIN = 4;

const FULL_SCALE = 2 ** 31;
/** Of a block: what lies nearer to its edge than this is its edge. */
const NEAR = 1e-6;

export interface Excess {
  /** Stretches of 100 ms, end exclusive. */
  readonly from: number;
  readonly to: number;
  /** Energy of the difference against that of the source, dB, of the worst of them. */
  readonly decibels: number;
}

export interface EnergyVerdict {
  /** From source to output, dB. */
  readonly gain: number;
  /** Whether that is more than a coder's loss. */
  readonly isOtherLevel: boolean;
  readonly excesses: readonly Excess[];
}

/** What is known of the audio besides its sketches, block by block of the source. */
export interface Surroundings {
  /** Of the source, as fingerprints store them. */
  readonly levels: Uint8Array;
  /** Largest samples heard, 1 at full scale; NaN where nothing was heard. */
  readonly peaks: Float32Array;
  readonly sourceRate: number;
  /** Of what was heard, Hz. */
  readonly sampleRate: number;
}

interface Stretch {
  readonly index: number;
  /** Energies of the source, of both together, of the output. */
  readonly source: number;
  readonly both: number;
  readonly output: number;
  /** Energy of the source from which a loss may come: of the stretch, or of what lies around it. */
  readonly near: number;
  /** Whether the encoder lowered it, or the decoder cut it. */
  readonly isLimited: boolean;
}

/** Energy of a stretch whose mean square is at this level. */
const energyAt = (decibels: number): number => CHIPS_A_STRETCH * FULL_SCALE ** 2 * 10 ** (decibels / 10);

/** Of the blocks that touch these seconds of the source: energy as in a stretch, and the largest sample heard. */
function blocksWithin(
  { levels, peaks, sourceRate }: Surroundings,
  from: number,
  to: number,
): { energy: number; peak: number; blocks: number } {
  const seconds = blockSamples(sourceRate) / sourceRate;
  const first = Math.max(0, Math.floor(from / seconds + NEAR));
  const last = Math.min(levels.length, Math.ceil(to / seconds - NEAR));
  let [energy, peak] = [0, 0];
  for (let block = first; block < last; block += 1) {
    energy += (energyAt(decibelsOf(levels[block] as number)) * seconds) / STRETCH_SECONDS;
    peak = Math.max(peak, peaks[block] || 0);
  }
  return { energy, peak, blocks: last - first };
}

function stretchesOf(source: AudioSketch, heard: AudioSketch, surroundings: Surroundings): Stretch[] {
  const reach = FRAME_SAMPLES / surroundings.sampleRate;
  const stretches: Stretch[] = [];
  for (let index = 0; (index + 1) * BUCKETS <= Math.min(source.length, heard.length); index += 1) {
    let [xx, xy, yy] = [0, 0, 0];
    for (let at = index * BUCKETS; at < (index + 1) * BUCKETS; at += 1) {
      const [x, y] = [source[at] as number, heard[at] as number];
      xx += x * x;
      xy += x * y;
      yy += y * y;
    }
    if (Number.isNaN(yy)) continue;
    const [from, to] = [index * STRETCH_SECONDS, (index + 1) * STRETCH_SECONDS];
    const own = blocksWithin(surroundings, from, to);
    const wide = blocksWithin(surroundings, from - reach, to + reach);
    // Blocks reach out further than a frame does.
    const share = Math.min(1, (reach * BLOCKS_A_SECOND * 2) / Math.max(1, wide.blocks - own.blocks));
    const around = share * (wide.energy - own.energy);
    stretches.push({
      ...{ index, source: xx, both: xy, output: yy },
      near: around > own.energy ? Math.max(xx, around) : xx,
      isLimited: wide.peak > LIMITED_FROM,
    });
  }
  return stretches;
}

const errorOf = ({ source, both, output }: Stretch, gain: number): number =>
  Math.max(0, output - 2 * gain * both + gain * gain * source);

/** From source to output, of a few stretches; what a stretch says alone is its median. */
const gainOf = (stretches: readonly Stretch[]): number =>
  median(stretches.map(({ both, source }) => both / source));

/** Whether stretches have another level than a coder makes of it, `lowest` of the amplitude and a little less. */
function isOff(stretches: readonly Stretch[], usual: number, lowest: number): boolean {
  if (stretches.length === 0) return false;
  const gain = gainOf(stretches);
  const slack = ALLOWED_GAIN + GAIN_BY_ERROR * usual;
  const doubt = DEVIATIONS * Math.sqrt(usual / (BUCKETS * stretches.length));
  return gain < Math.min(lowest - slack, 1 - doubt) || gain > 1 + Math.max(slack, doubt);
}

/** null: too quiet, or too unlike the source, to say anything of a coder's loss. */
export function compareEnergy(
  source: AudioSketch,
  heard: AudioSketch,
  surroundings: Surroundings,
): EnergyVerdict | null {
  const stretches = stretchesOf(source, heard, surroundings);
  const loud = stretches.filter((stretch) => stretch.source > energyAt(QUIET_DECIBELS));
  const gain = loud.length === 0 ? 1 : gainOf(loud);
  if (gain < 1 / MOST_GAIN || gain > MOST_GAIN) return null;
  const usual = median(loud.map((stretch) => errorOf(stretch, gain) / stretch.source));
  const allowedOf = ({ index, isLimited }: Stretch): number =>
    Math.max(
      ...[ALLOWED_PART, TIMES_USUAL * usual],
      index < START_STRETCHES ? ALLOWED_AT_START : 0,
      isLimited ? ALLOWED_LIMITED : 0,
    );
  const excesses: Excess[] = [];
  for (const stretch of stretches) {
    const error = errorOf(stretch, gain);
    if (error <= allowedOf(stretch) * stretch.near + energyAt(ERROR_FLOOR_DECIBELS)) continue;
    const decibels = 10 * Math.log10(error / Math.max(stretch.source, energyAt(ERROR_FLOOR_DECIBELS)));
    const last = excesses.at(-1);
    if (last !== undefined && last.to === stretch.index)
      excesses[excesses.length - 1] = {
        from: last.from,
        to: stretch.index + 1,
        decibels: Math.max(last.decibels, decibels),
      };
    else excesses.push({ from: stretch.index, to: stretch.index + 1, decibels });
  }
  // The few of the other kind are attacks and ends, which say nothing of a level.
  const limited = loud.filter(({ isLimited }) => isLimited);
  const isResampled = surroundings.sourceRate !== surroundings.sampleRate;
  const lowest = 1 - (isResampled ? LIMITED_LOSS_RESAMPLED : LIMITED_LOSS);
  const isMostlyLimited = 2 * limited.length > loud.length;
  const telling = isMostlyLimited ? limited : loud.filter(({ isLimited }) => !isLimited);
  return {
    gain: 20 * Math.log10(telling.length === 0 ? 1 : gainOf(telling)),
    isOtherLevel: isOff(telling, usual, isMostlyLimited ? lowest : 1),
    excesses,
  };
}
