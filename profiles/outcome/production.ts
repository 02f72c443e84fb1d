/** What of production sound a deliverable carries, told once for its tracks. Pure. */
import { printable } from '../../files/names.ts';
import type { RecordedTrack } from '../../media/facts.ts';
import type { Outcome } from '../outcome.ts';

export interface Production
  extends Pick<RecordedTrack, 'roll' | 'form' | 'laidBy' | 'startSamples' | 'driftMillionths'> {
  /** Relative to the sound roll. */
  readonly files: readonly string[];
  /** Of its tracks, as they are written into the file; null: the recorder names none. */
  readonly names: readonly (string | null)[];
  /** Samples a second of the track, and those that the recording covers, end exclusive. */
  readonly sampleRate: number;
  readonly covered: { readonly from: number; readonly to: number };
  /** Samples of the track that are silent since the recording does not cover them. */
  readonly silent: number;
}

/** null: none. */
export function productionOf(audio: Outcome['audio']): Production | null {
  const tracks = audio.flatMap(({ recording, covered, ...track }) =>
    recording === null || covered === null ? [] : [{ ...track, recording, covered }],
  );
  const [first] = tracks;
  if (first === undefined) return null;
  const { roll, form, laidBy, startSamples, driftMillionths } = first.recording;
  return {
    ...{ roll, form, laidBy, startSamples, driftMillionths },
    files: [...new Set(tracks.map(({ recording }) => recording.file))],
    names: tracks.map(({ recording }) => recording.name),
    sampleRate: first.sampleRate,
    covered: first.covered,
    silent: first.samples - (first.covered.to - first.covered.from),
  };
}

/** `mix of S001 24A-T03.WAV, by content`; what it does not cover, and a clock that is taken out, behind it. */
export function productionText(production: Production): string {
  const { roll, form, files, names, laidBy, driftMillionths, silent, sampleRate } = production;
  const what = form === 'mix' ? 'mix' : names.length === 1 ? '1 track' : `${names.length} tracks`;
  const more = files.length === 1 ? '' : ` and ${files.length - 1} more`;
  return [
    `${what} of ${printable(roll)} ${printable(files[0] ?? '')}${more}`,
    laidBy === 'content' ? 'by what both heard' : 'by timecode alone',
    ...(driftMillionths === 0 ? [] : [`${(driftMillionths / 10_000).toFixed(4)} % of drift taken out`]),
    // A sample is rounding.
    ...(silent <= 1 ? [] : [`silent for ${(silent / sampleRate).toFixed(2)} s`]),
  ].join(', ');
}
