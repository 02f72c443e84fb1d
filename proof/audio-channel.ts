/** One channel of what was heard of a deliverable against the fingerprints of its source: where it differs, and how much was proved. */
import { median } from './pictures.ts';
import type { ChannelSummary, AudioDifference, AudioDifferenceKind, AudioProof } from './audio-difference.ts';
import { compareEnergy, LIMITED_FROM } from './audio-energy.ts';
import { BUCKETS, STRETCH_SECONDS } from './audio-sketch.ts';
import { type BlockLevels, explainingShift, meanChange, type Run, runsApart } from './audio-levels.ts';
import type { HeardChannel, HeardAudio } from './audio-listener.ts';
import { type AnchorMatch, matchAnchor } from './audio-match.ts';
import type { ExpectedAudio, ListeningWindow } from './audio-plan.ts';
import {
  BLOCKS_A_SECOND,
  blockSamples,
  type ChannelFingerprint,
  decibelsOf,
  EDGE_BLOCKS,
  GROUP_BLOCKS,
  type SampleForm,
  type AudioFingerprint,
} from './audio-fingerprint.ts';

/** Output samples that audio may be away from its place: one where waveforms change, none where samples are equal, or lie between those of the source. */
const ALLOWED_LAG = 1;
const ALLOWED_LAG_LOSSLESS = 0.5;
/** Where a coder alone lies between source and file, all places together may be away by so much: it moves single ones a little, but never all of them one way. */
const ALLOWED_LAG_TOGETHER = 0.5;
/** Coders change the mean level of noise by up to 0.3 dB. */
const ALLOWED_DECIBELS = 0.75;
const ALLOWED_DECIBELS_LOSSLESS = 0.02;
/** Below these an anchor is looked for in the other channels too, and is taken to be there when it fits so many times better. */
const GOOD_CORRELATION = 0.95;
const GOOD_CORRELATION_LOSSLESS = 0.999;
const FITS_BETTER = 4;
/** Two channels of the source are one audio where they differ by no more than this part of its energy: -18 dB, what coders lose of most audio. */
const SAME_PART = 0.016;
/**
 * Where floating point was rounded to 16 bits, the fingerprints hold it rounded to 32 bits before: one sample in 2^17 lies so near
 * a half that it comes out otherwise, in one group of 200 ms out of fourteen at 48 kHz.
 */
const ROUNDED_GROUPS = 3;
const ROUNDED_SHARE = 0.2;
/** Lags that differ by no more are one offset. */
const SAME_LAG = 1.5;
/** A coder's block sounds before and after its audio: two blocks of 1024 samples either side. dBFS above which it is more than that. */
const ECHO_SAMPLES = 4096;
const AUDIBLE_FROM = -50;

/** Blocks either side of a peak that an encoder lowers with it: a frame of 2048 samples (AAC, long windows). */
const LIMITED_REACH = 3;

const UNPROVEN: AnchorMatch = {
  ...{ verdict: 'unproven', lag: 0, gain: 0, correlation: 0 },
  doubt: Number.POSITIVE_INFINITY,
};

interface HeardAnchor {
  readonly window: ListeningWindow;
  readonly match: AnchorMatch;
  /** Another channel in which the anchor is. */
  readonly elsewhere: number | null;
}

const isThere = ({ match: { verdict, gain } }: HeardAnchor): boolean =>
  verdict === 'proved' || verdict === 'moved' || (verdict === 'unproven' && gain !== 0);
const failed = ({ match: { verdict } }: HeardAnchor): boolean =>
  verdict === 'lost' || verdict === 'absent' || verdict === 'moved';

const signed = (value: number, digits: number): string => `${value > 0 ? '+' : ''}${value.toFixed(digits)}`;
const lateOrEarly = (by: number): string => (by > 0 ? 'late' : 'early');
const lagText = (lag: number): string => {
  const isWhole = Number.isInteger(Math.round(lag * 100) / 100);
  return `${Math.abs(lag).toFixed(isWhole ? 0 : 2)} samples ${lateOrEarly(lag)}`;
};

/** Everything about one channel: what is the source's, what was heard of it, where things lie. */
export class ChannelComparison {
  readonly #source: AudioFingerprint;
  readonly #heard: HeardAudio;
  readonly #expected: ExpectedAudio;
  readonly #channel: number;
  readonly #fingerprints: ChannelFingerprint;
  readonly #heardChannel: HeardChannel;
  readonly #lossless: boolean;
  /** Whether a change of level or place that is known already lets levels part everywhere. */
  #explainsLevels = false;
  readonly differences: AudioDifference[] = [];

  constructor(source: AudioFingerprint, heard: HeardAudio, expected: ExpectedAudio, channel: number) {
    this.#source = source;
    this.#heard = heard;
    this.#expected = expected;
    this.#channel = channel;
    this.#fingerprints = source.channels[channel] as ChannelFingerprint;
    this.#heardChannel = heard.channels[channel] as HeardChannel;
    this.#lossless = expected.precision !== null;
  }

  #differ(kind: AudioDifferenceKind, sample: number, found: string, expected: string): void {
    this.differences.push({
      kind,
      channel: this.#channel,
      sample,
      seconds: sample / this.#heard.sampleRate,
      found,
      expected,
    });
  }

  /** Output sample at which a block, counted from the first that is heard, begins. */
  #sampleOf(block: number): number {
    const { edges, lead } = this.#heard.plan;
    return edges[Math.min(edges.length - 1, lead + block)] ?? 0;
  }

  #secondsOf(block: number): string {
    return (this.#sampleOf(block) / this.#heard.sampleRate).toFixed(2);
  }

  /** Of so many blocks of the source, either way. */
  #secondsText(blocks: number): string {
    const { sampleRate } = this.#source;
    return `${((Math.abs(blocks) * blockSamples(sampleRate)) / sampleRate).toFixed(2)} s`;
  }

  #placeOf({ anchor }: ListeningWindow): number {
    return this.#sampleOf(anchor.block - this.#heard.plan.firstBlock);
  }

  /** Groups that were compared, and those of them that differ; in the form of samples that fits best. Null without a precision. */
  equality(): { compared: number; differing: number[]; byChance: boolean } | null {
    const { precision } = this.#expected;
    if (precision === null) return null;
    const { firstGroup, plan } = this.#heard;
    const forms: readonly SampleForm[] = precision === 24 ? ['cut24'] : ['cut16', 'rounded16'];
    const results = forms.map((form) => {
      const wanted = this.#fingerprints.checksums[form];
      // The output has come to 16 bits already: either form of it is itself.
      const found = this.#heardChannel.checksums[precision === 24 ? 'cut24' : 'cut16'];
      const compared = Math.max(0, found.length - (plan.cut ? 1 : 0));
      const differing: number[] = [];
      for (let group = 0; group < compared; group++)
        if (found[group] !== wanted[firstGroup + group]) differing.push(firstGroup + group);
      return { compared, differing };
    });
    const best = results.reduce((a, b) => (b.differing.length < a.differing.length ? b : a));
    const byChance =
      best === results[1] && best.differing.length <= ROUNDED_GROUPS + ROUNDED_SHARE * best.compared;
    return { ...best, byChance };
  }

  /** Samples of the source under the checksums of groups. */
  samplesIn(groups: number): number {
    const size = blockSamples(this.#source.sampleRate) * GROUP_BLOCKS;
    return Math.min(groups * size, this.#source.end - this.#source.start - this.#heard.firstGroup * size);
  }

  #isUnproven(): boolean {
    return !this.#lossless && this.#channel === this.#expected.lowFrequency;
  }

  /** Audio that the source has in both channels cannot be in the other one by mistake: a coder only lost more of it in its own. */
  #isSameInSource(other: number, block: number): boolean {
    const [own, theirs] = [this.#fingerprints.sketch, this.#source.channels[other]?.sketch];
    if (theirs === undefined) return false;
    const from = BUCKETS * Math.floor(block / (STRETCH_SECONDS * BLOCKS_A_SECOND));
    let [energy, difference] = [0, 0];
    for (let at = from; at < Math.min(own.length, from + BUCKETS); at += 1) {
      const [mine, its] = [own[at] as number, theirs[at] as number];
      energy += mine * mine;
      difference += (mine - its) ** 2;
    }
    return difference <= SAME_PART * energy;
  }

  /** `isEqual`: every sample was found equal, and nothing is left to be looked for. */
  anchors(isEqual: boolean): HeardAnchor[] {
    const { windows } = this.#heard.plan;
    const isClose = this.#lossless || this.#expected.interpolated === true;
    const allowed = isClose ? ALLOWED_LAG_LOSSLESS : ALLOWED_LAG;
    const match = (index: number): AnchorMatch =>
      isEqual || this.#isUnproven()
        ? UNPROVEN
        : matchAnchor({
            source: this.#source,
            sampleRate: this.#heard.sampleRate,
            expected: this.#expected,
            window: windows[index] as ListeningWindow,
            heard: this.#heard.windows[index] as Int32Array,
            allowed,
          });
    const mine = [...windows.keys()].filter((index) => windows[index]?.channel === this.#channel);
    const result: HeardAnchor[] = [];
    for (const index of mine) {
      const window = windows[index] as ListeningWindow;
      if (window.heardChannel !== this.#channel) continue;
      const own = match(index);
      const good = this.#lossless ? GOOD_CORRELATION_LOSSLESS : GOOD_CORRELATION;
      let elsewhere: number | null = null;
      if (own.verdict !== 'silent' && own.correlation < good) {
        let miss = (1 - Math.abs(own.correlation)) / FITS_BETTER;
        for (const other of mine) {
          const { anchor, heardChannel } = windows[other] as ListeningWindow;
          if (anchor !== window.anchor || heardChannel === this.#channel) continue;
          if (this.#isSameInSource(heardChannel, anchor.block)) continue;
          const there = match(other);
          if (there.correlation > 0 && 1 - there.correlation < miss) {
            miss = 1 - there.correlation;
            elsewhere = heardChannel;
          }
        }
      }
      result.push({ window, match: own, elsewhere });
    }
    return result.sort((a, b) => a.window.anchor.block - b.window.anchor.block);
  }

  #levels(): BlockLevels {
    const { firstBlock, lead, blocks } = this.#heard.plan;
    return {
      source: this.#fingerprints.levels.subarray(firstBlock, firstBlock + blocks),
      heard: this.#heardChannel.levels.subarray(lead, lead + blocks),
    };
  }

  /** Largest samples heard, block by block of the source. */
  #peaks(): Float32Array {
    const { firstBlock, lead, blocks } = this.#heard.plan;
    const peaks = new Float32Array(this.#fingerprints.levels.length).fill(Number.NaN);
    peaks.set(this.#heardChannel.peaks.subarray(lead, lead + blocks), firstBlock);
    return peaks;
  }

  /** Blocks heard at another rate that an encoder may have lowered, as samples at full scale go beyond it there: the energy of stretches says what is too much. */
  #isLimited(): (block: number) => boolean {
    if (this.#source.sampleRate === this.#heard.sampleRate) return () => false;
    const { lead } = this.#heard.plan;
    return (block) =>
      this.#heardChannel.peaks
        .subarray(Math.max(0, lead + block - LIMITED_REACH), lead + block + LIMITED_REACH + 1)
        .some((peak) => peak > LIMITED_FROM);
  }

  /** Says how the audio differs, from anchors and levels; the first explanation of the whole channel ends it. */
  explain(anchors: readonly HeardAnchor[]): void {
    if (this.#isUnproven()) return;
    const distinctive = anchors.filter(
      (anchor) =>
        anchor.match.verdict !== 'silent' && (anchor.match.verdict !== 'unproven' || anchor.match.gain !== 0),
    );
    const first = this.#sampleOf(0);
    const there = distinctive.filter((anchor) => isThere(anchor) && anchor.elsewhere === null);
    const moved = distinctive.filter(({ elsewhere }) => elsewhere !== null);
    if (moved.length > there.length) {
      const channels = [...new Set(moved.map(({ elsewhere }) => `channel ${(elsewhere ?? 0) + 1}`))].join(
        ', ',
      );
      this.#differ(
        'channels-swapped',
        this.#placeOf((moved[0] as HeardAnchor).window),
        `in ${channels}`,
        `in channel ${this.#channel + 1}`,
      );
      return;
    }
    const levels = this.#levels();
    const runs = runsApart(levels.source, levels.heard);
    if (there.length === 0 && distinctive.length > 0) {
      if (
        distinctive.every(({ match }) => match.verdict === 'lost') &&
        !runs.some(({ kind }) => kind !== 'muted')
      ) {
        this.#differ('channel-silent', first, 'silence', 'audio');
        return;
      }
      const shift = explainingShift(levels, { from: 0, to: levels.heard.length });
      if (shift !== null)
        this.#differ('offset', first, `about ${this.#secondsText(shift)} ${lateOrEarly(shift)}`, 'in place');
      else
        this.#differ(
          'other-audio',
          first,
          `audio of the source at 0 of ${distinctive.length} places`,
          'audio of the source',
        );
      return;
    }
    this.#explainTimes(there);
    this.#explainSize(there, levels);
    this.#explainRuns(runs, levels);
    this.#explainSingles(distinctive, runs);
    this.#explainSilences();
    this.#explainEnergy();
  }

  #explainTimes(there: readonly HeardAnchor[]): void {
    const timed = there.filter(({ match }) => match.verdict === 'proved' || match.verdict === 'moved');
    let before = 0;
    for (const [index, { match, window }] of timed.entries()) {
      const lag = match.verdict === 'moved' ? match.lag : 0;
      if (Math.abs(lag - before) <= (match.verdict === 'moved' && before === 0 ? 0 : SAME_LAG)) continue;
      this.#differ(
        index === 0 ? 'offset' : 'drift',
        this.#placeOf(window),
        lag === 0 ? 'in place again' : lagText(lag),
        before === 0 ? 'in place' : `as before, ${lagText(before)}`,
      );
      before = lag;
      if (Math.abs(lag) > blockSamples(this.#heard.sampleRate) / 2) this.#explainsLevels = true;
    }
    // Beside the limit of a single place one is not told: what was measured of it counts here all the same.
    if (timed.every(({ match }) => match.verdict === 'proved'))
      this.#explainTogether(there.filter(({ match }) => Number.isFinite(match.doubt)));
  }

  /** A track that was laid one sample beside its place: no single place of coded audio is sure of so little, all of them are. */
  #explainTogether(timed: readonly HeardAnchor[]): void {
    const [first] = timed;
    if (first === undefined || this.#source.sampleRate !== this.#heard.sampleRate) return;
    let [weights, sum] = [0, 0];
    for (const { match } of timed) {
      const weight = 1 / Math.max(match.doubt, 1e-3) ** 2;
      weights += weight;
      sum += weight * match.lag;
    }
    const lag = sum / weights;
    const away = timed.filter((one) => Math.sign(lag) * one.match.lag > ALLOWED_LAG_TOGETHER);
    if (Math.abs(lag) - 1 / Math.sqrt(weights) > ALLOWED_LAG_TOGETHER && 2 * away.length > timed.length)
      this.#differ('offset', this.#placeOf(first.window), lagText(lag), 'in place');
  }

  #explainSize(there: readonly HeardAnchor[], levels: BlockLevels): void {
    const inverted = there.filter(({ match }) => match.gain < 0);
    if (inverted[0] !== undefined)
      this.#differ(
        'inverted',
        this.#placeOf(inverted[0].window),
        `inverted at ${inverted.length} of ${there.length} places`,
        'not inverted',
      );
    if (there.length === 0) return;
    const atAnchors = 20 * Math.log10(Math.abs(median(there.map(({ match }) => match.gain))));
    const change = this.#lossless ? atAnchors : meanChange(levels, this.#isLimited());
    const allowed = this.#lossless ? ALLOWED_DECIBELS_LOSSLESS : ALLOWED_DECIBELS;
    // Both must say so: levels know nothing above the band, and what a coder leaves out of noise makes single places weaker.
    if (
      change !== null &&
      Math.abs(change) > allowed &&
      Math.abs(atAnchors) > allowed / 2 &&
      change > 0 === atAnchors > 0
    ) {
      this.#differ('level', this.#sampleOf(0), `${signed(change, 2)} dB`, `0 dB ± ${allowed}`);
      this.#explainsLevels = true;
    }
  }

  #explainRuns(runs: readonly Run[], levels: BlockLevels): void {
    if (this.#explainsLevels) return;
    for (const run of runs) {
      const { kind, found, expected } = this.#runAsDifference(run, levels);
      this.#differ(kind, this.#sampleOf(run.from), found, expected);
    }
  }

  #runAsDifference(run: Run, levels: BlockLevels): Pick<AudioDifference, 'kind' | 'found' | 'expected'> {
    const place = `${this.#secondsOf(run.from)} to ${this.#secondsOf(run.to)} s`;
    const expected = 'audio of the source';
    if (run.kind === 'muted') return { kind: 'muted', found: `silence from ${place}`, expected };
    const shift = explainingShift(levels, run);
    if (shift !== null) {
      const by = this.#secondsText(shift);
      if (levels.source.length - run.to < EDGE_BLOCKS)
        return { kind: 'drift', found: `about ${by} ${lateOrEarly(shift)} to the end`, expected: 'in place' };
      if (shift > 0) return { kind: 'repeated', found: `the audio of ${by} earlier from ${place}`, expected };
    }
    if (run.mutedShare > 0.5) return { kind: 'muted', found: `mostly silence from ${place}`, expected };
    if (run.kind === 'added') return { kind: 'added', found: `audio from ${place}`, expected: 'silence' };
    return { kind: 'other-audio', found: `other levels from ${place}`, expected };
  }

  /** Anchors that failed where levels say nothing. */
  #explainSingles(distinctive: readonly HeardAnchor[], runs: readonly Run[]): void {
    const { firstBlock } = this.#heard.plan;
    const alone = distinctive.filter(({ match, window }) => {
      const block = window.anchor.block - firstBlock;
      return (
        (match.verdict === 'absent' || match.verdict === 'lost') &&
        !runs.some(({ from, to }) => block >= from - 1 && block <= to)
      );
    });
    for (const kind of ['absent', 'lost'] as const) {
      const places = alone.filter(({ match }) => match.verdict === kind);
      if (places[0] === undefined) continue;
      const found = `${kind === 'lost' ? 'silence' : 'something else'} at ${places.length} of ${distinctive.length} places`;
      this.#differ(
        kind === 'lost' ? 'muted' : 'other-audio',
        this.#placeOf(places[0].window),
        found,
        'audio of the source',
      );
    }
  }

  /** Before and after the source's audio there is none. */
  #explainSilences(): void {
    if (this.differences.some(({ kind }) => kind === 'offset' || kind === 'drift' || kind === 'repeated'))
      return;
    const { edges, lead, blocks } = this.#heard.plan;
    const audioStart = edges[lead] ?? 0;
    const audioEnd = edges[lead + blocks] ?? audioStart;
    for (const [piece, level] of this.#heardChannel.levels.entries()) {
      if (piece >= lead && piece < lead + blocks) continue;
      const [from, to] = [edges[piece] as number, edges[piece + 1] as number];
      const near = piece < lead ? to > audioStart - ECHO_SAMPLES : from < audioEnd + ECHO_SAMPLES;
      const isAudible = this.#lossless
        ? (piece < lead ? this.#heardChannel.leadHasSignal : this.#heardChannel.tailHasSignal) && level > 0
        : !near && decibelsOf(level) > AUDIBLE_FROM;
      if (!isAudible) continue;
      this.#differ('added', from, 'audio', 'silence');
      return;
    }
  }

  /** What nothing else has said: places, levels of blocks and anchors are right, and yet the difference is more than a coder's loss. */
  #explainEnergy(): void {
    if (this.#lossless || this.differences.length > 0) return;
    const energy = compareEnergy(this.#fingerprints.sketch, this.#heardChannel.sketch, {
      levels: this.#fingerprints.levels,
      peaks: this.#peaks(),
      sourceRate: this.#source.sampleRate,
      sampleRate: this.#heard.sampleRate,
    });
    if (energy === null) return;
    const { gain, isOtherLevel, excesses } = energy;
    if (isOtherLevel) this.#differ('level', this.#sampleOf(0), `${signed(gain, 2)} dB`, '0 dB');
    for (const { from, to, decibels } of excesses) {
      const seconds = (stretch: number): string => (stretch * STRETCH_SECONDS).toFixed(1);
      this.#differ(
        'error',
        this.#sampleOf(Math.round(from * STRETCH_SECONDS * BLOCKS_A_SECOND) - this.#heard.plan.firstBlock),
        `a difference of ${decibels.toFixed(0)} dB from the source, ${seconds(from)} to ${seconds(to)} s of its audio`,
        'the loss that is usual in this track',
      );
    }
  }

  /** Uncompressed samples that differ in a way that nothing else says. */
  explainSamples(differing: readonly number[]): void {
    const { leadHasSignal, tailHasSignal } = this.#heardChannel;
    if (this.differences.length > 0) return;
    const group = differing[0];
    if (group !== undefined) {
      const sample = this.#sampleOf(Math.max(0, group * GROUP_BLOCKS - this.#heard.plan.firstBlock));
      this.#differ(
        'samples-differ',
        sample,
        `${differing.length} stretches of ${GROUP_BLOCKS * 20} ms differ`,
        `equal to ${this.#expected.precision ?? ''} bits`,
      );
    } else if (leadHasSignal || tailHasSignal)
      this.#differ(
        'added',
        leadHasSignal ? 0 : this.#sampleOf(this.#heard.plan.blocks),
        'samples other than 0',
        'silence',
      );
  }

  summary(anchors: readonly HeardAnchor[], equalSamples: number | null, isEqual: boolean): ChannelSummary {
    const { firstBlock, blocks } = this.#heard.plan;
    const proofOf = (some: readonly HeardAnchor[]): AudioProof => {
      const distinctive = some.filter(({ match }) => match.verdict !== 'silent');
      if (some.length > 0 && isEqual) return 'proved';
      if (distinctive.some(failed)) return 'differs';
      if (distinctive.length === 0) return 'silent';
      return distinctive.some(({ match }) => match.verdict === 'proved') ? 'proved' : 'unproven';
    };
    const count = (verdict: AnchorMatch['verdict']): number =>
      anchors.filter(({ match }) => match.verdict === verdict).length;
    return {
      anchors: anchors.length,
      proved: isEqual ? anchors.length : count('proved'),
      silent: isEqual ? 0 : count('silent'),
      unproven: isEqual ? 0 : count('unproven'),
      failed: isEqual ? 0 : anchors.filter(failed).length,
      start: proofOf(anchors.filter(({ window }) => window.anchor.block < firstBlock + EDGE_BLOCKS)),
      end: proofOf(anchors.filter(({ window }) => window.anchor.block >= firstBlock + blocks - EDGE_BLOCKS)),
      equalSamples,
    };
  }
}
